-- One more note; the logbook numbers it. The same entry a second time writes nothing and gives no number.

insert into notes (
    boat,
    engine,
    kind,
    note_text,
    author,
    done_at,
    until_at,
    written_at,
    corrects,
    entry
)
values (
    :boat,
    :engine,
    :kind,
    :note_text,
    :author,
    :done_at,
    :until_at,
    :written_at,
    :corrects,
    :entry
)
on conflict (entry) do nothing
returning note_id;
