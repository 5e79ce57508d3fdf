/*
title = "Series"
what = """What there are readings of: one row an engine, indicator and facet, numbered from 0, with how many readings and the
remark of the newest."""
reads = ["marts.readings", "marts.run_hours"]
*/
with found as (
    select
        readings.engine_id,
        readings.indicator,
        readings.facet,
        count(*) as readings,
        arg_max(readings.remark, readings.started_at) as remark
    from marts.readings
    inner join run_hours on readings.run_id = run_hours.run_id
    group by
        readings.engine_id,
        readings.indicator,
        readings.facet
)

select
    row_number() over (order by engine_id, indicator, facet) - 1 as series_no,
    engine_id,
    indicator,
    facet,
    readings,
    remark
from found
