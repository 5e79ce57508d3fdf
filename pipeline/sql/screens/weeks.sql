/*
title = "Weeks of an indicator"
what = """The median reading of each engine in each week of the fleet's own calendar, and over how many runs. Parameters: the
indicator, the facet, the moment, the fleet's time zone."""
reads = ["marts.readings", "events.runs", "marts.logs"]
*/
select
    readings.engine_id,
    -- the week's Monday, midnight in the fleet's zone
    epoch(timezone($zone, date_trunc('week', timezone($zone, readings.started_at)))) as at_s,
    median(readings.value) as value,
    count(*) as runs
from marts.readings
inner join events.runs on readings.run_id = runs.run_id
inner join marts.logs on runs.log_id = logs.log_id
where
    readings.indicator = $indicator
    and readings.facet = $facet
    and logs.ended_at <= $as_of
group by
    readings.engine_id,
    at_s
order by
    readings.engine_id,
    at_s
