/*
title = "readings"
what = """The long table of readings, up to a moment."""
*/
select
    split_part(readings.engine_id, '/', 1) as boat,
    split_part(readings.engine_id, '/', 2) as engine,
    readings.indicator,
    nullif(readings.facet, '') as facet,
    readings.started_at as "at",
    readings.value,
    readings.n,
    readings.temp_c,
    readings.battery_v,
    readings.remark,
    readings.run_id,
    logs.log_id as log
from marts.readings
inner join events.runs on readings.run_id = runs.run_id
inner join marts.logs on runs.log_id = logs.log_id
where logs.ended_at <= $as_of
order by
    readings.started_at,
    readings.engine_id,
    readings.indicator,
    readings.facet
