/*
title = "History"
what = """Every series of readings, one row an engine, indicator and facet, its readings as lists in time order.
Parameter: the moment after which nothing is used."""
reads = ["marts.readings", "marts.run_hours"]
*/
select
    readings.engine_id,
    readings.indicator,
    readings.facet,
    list(epoch(readings.started_at) order by readings.started_at) as at_s,
    list(run_hours.hours order by readings.started_at) as hours,
    list(readings.value order by readings.started_at) as value,
    list(readings.n::double order by readings.started_at) as n,
    list(readings.temp_c order by readings.started_at) as temp_c,
    list(readings.battery_v order by readings.started_at) as battery_v,
    list(readings.setting order by readings.started_at) as setting,
    list(readings.run_id order by readings.started_at) as run_id,
    arg_max(readings.remark, readings.started_at) as remark
from marts.readings
inner join run_hours on readings.run_id = run_hours.run_id
group by
    readings.engine_id,
    readings.indicator,
    readings.facet
order by
    readings.engine_id,
    readings.indicator,
    readings.facet
