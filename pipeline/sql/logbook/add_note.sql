-- One more note; the logbook numbers it.

insert into notes (
    boat,
    engine,
    kind,
    note_text,
    author,
    done_at,
    until_at,
    written_at
)
values (
    :boat,
    :engine,
    :kind,
    :note_text,
    :author,
    :done_at,
    :until_at,
    :written_at
)
returning note_id;
