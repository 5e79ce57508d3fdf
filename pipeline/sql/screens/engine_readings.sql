/*
title = "Readings of an engine"
what = """Every reading of some indicators of one engine up to a moment. Parameters: the engine, the indicators, the moment."""
reads = ["marts.readings", "events.runs", "marts.logs"]
*/
select
    readings.indicator,
    readings.facet,
    readings.run_id,
    epoch(readings.started_at) as at_s,
    readings.value,
    readings.n,
    readings.temp_c,
    readings.battery_v,
    logs.file
from marts.readings
inner join events.runs on readings.run_id = runs.run_id
inner join marts.logs on runs.log_id = logs.log_id
where
    readings.engine_id = $engine_id
    and list_contains($indicators, readings.indicator)
    and logs.ended_at <= $as_of
order by
    readings.indicator,
    readings.facet,
    readings.started_at
