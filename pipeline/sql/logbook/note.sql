-- One note by its number, or by the entry that it was written in. Read by the names of its columns.

select *
from notes
where note_id = :note_id or entry = :entry;
