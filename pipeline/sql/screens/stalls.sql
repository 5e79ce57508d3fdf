/*
title = "Stalls of an engine"
what = """Every stall of one engine up to a moment, the newest first. Parameters: the engine, the moment."""
reads = ["events.stalls", "marts.logs"]
*/
select
    epoch(stalls.started_at) as at_s,
    stalls.gear,
    stalls.how,
    stalls.restart_s,
    logs.file
from events.stalls
inner join marts.logs on stalls.log_id = logs.log_id
where stalls.engine_id = $engine_id and logs.ended_at <= $as_of
order by
    stalls.started_at desc
