/*
title = "History"
what = """Every reading that a morning may use, by the numbers of its series and its run, in no order: putting millions of
them into time order is quicker in arrays."""
reads = ["marts.readings", "marts.run_hours", "marts.series"]
*/
select
    series.series_no::integer as series_no,
    run_hours.run_no::integer as run_no,
    readings.value,
    readings.n::double as n,
    readings.temp_c,
    readings.battery_v,
    readings.setting
from marts.readings
inner join run_hours on readings.run_id = run_hours.run_id
inner join
    series on
    readings.engine_id = series.engine_id
    and readings.indicator = series.indicator
    and readings.facet = series.facet
