/*
title = "Run lists"
what = """The usable runs in the order of their numbers: engine by engine, each in time order."""
reads = ["marts.run_hours"]
*/
select
    engine_id,
    run_id,
    file,
    epoch(started_at) as started_s,
    epoch(ended_at) as ended_s,
    hours,
    first_hours,
    last_hours,
    oil_first_c,
    coolant_first_c,
    air_first_c,
    oil_high_c,
    coolant_high_c,
    air_high_c,
    oil_pressure_kpa,
    oil_pressure_high_kpa,
    trim_swept_pct,
    integral_swept_pct
from run_hours
order by
    run_no
