-- The logbook: what people wrote, in SQLite. Kept apart from the store because nothing here can be derived again.
-- Times are ISO 8601 text in UTC, always with microseconds, so that their order as text is their order in time.

-- One transaction that waits its turn from the start: two people may write the first note at once.
begin immediate;

create table if not exists notes (
    note_id integer primary key,
    boat text not null,
    engine text,                -- null: the whole boat
    kind text not null,
    note_text text not null,
    author text,
    done_at text not null,      -- when the thing was done or seen
    until_at text,              -- of a deferral: when it ends
    written_at text not null,   -- when the note was written down
    corrects integer,           -- number of the note that this one puts right
    entry text                  -- one act of writing; a second press of a button writes nothing
);

create index if not exists notes_of_a_boat on notes (boat, done_at);

-- What was written stays: a wrong note is answered by another one.
create trigger if not exists notes_are_never_changed
before update on notes
begin
    select raise(abort, 'the logbook is only added to');
end;

create trigger if not exists notes_are_never_removed
before delete on notes
begin
    select raise(abort, 'the logbook is only added to');
end;

commit;
