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
    hours
from run_hours
order by
    run_no
