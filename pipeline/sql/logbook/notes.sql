-- The notes of a fleet, a boat or an engine up to a moment, oldest first. A null parameter asks for all.
-- A note on the whole boat belongs to each of its engines too.

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
where
    (:boat is null or boat = :boat)
    and (:engine is null or engine is null or engine = :engine)
    and (:as_of is null or done_at <= :as_of)
order by
    done_at,
    note_id;
