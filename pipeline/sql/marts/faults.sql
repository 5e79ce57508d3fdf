/*
title = "Faults of the record"
what = """Which runs showed by themselves that a channel cannot be believed, a row for each engine, channel and remark."""
reads = ["marts.readings", "marts.run_hours"]
*/
select
    readings.engine_id,
    readings.facet as channel,
    readings.remark,
    list(readings.run_id order by run_hours.run_no) as run_ids
from marts.readings
inner join run_hours on readings.run_id = run_hours.run_id
where readings.indicator = 'signal' and readings.value > 0
group by
    readings.engine_id,
    readings.facet,
    readings.remark
order by
    readings.engine_id,
    readings.facet,
    max(run_hours.run_no)
