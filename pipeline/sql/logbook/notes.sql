-- The notes of a fleet, a boat or an engine up to a moment, oldest first. A null parameter asks for all.
-- A note on the whole boat belongs to each of its engines too. Read by the names of its columns: an older logbook has
-- fewer of them.

select *
from notes
where
    (:boat is null or boat = :boat)
    and (:engine is null or engine is null or engine = :engine)
    and (:as_of is null or done_at <= :as_of)
order by
    done_at,
    note_id;
