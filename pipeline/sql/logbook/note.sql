-- One note by its number, or by the entry that it was written in.

select
    note_id,
    boat,
    engine,
    kind,
    note_text,
    author,
    done_at,
    until_at,
    written_at,
    corrects
from notes
where note_id = :note_id or entry = :entry;
