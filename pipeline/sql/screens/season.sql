/*
title = "A season of an indicator"
what = """Every reading of one indicator and facet up to a moment, with the log and the moment of its run. Parameters: the
indicator, the facet, the moment, the engines (null for all)."""
reads = ["marts.readings", "events.runs", "marts.logs"]
*/
select
    readings.engine_id,
    readings.run_id,
    epoch(readings.started_at) as at_s,
    readings.value,
    readings.n,
    readings.temp_c,
    readings.battery_v,
    readings.setting,
    runs.seconds as run_seconds,
    logs.file
from marts.readings
inner join events.runs on readings.run_id = runs.run_id
inner join marts.logs on runs.log_id = logs.log_id
where
    readings.indicator = $indicator
    and readings.facet = $facet
    and logs.ended_at <= $as_of
    and ($engines is null or list_contains($engines::varchar [], readings.engine_id))
order by
    readings.engine_id,
    readings.started_at
