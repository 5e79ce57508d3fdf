/*
title = "Run lists"
what = """The usable runs of each engine as lists in time order."""
reads = ["marts.run_hours"]
*/
select
    engine_id,
    list(run_id order by started_at) as run_id,
    list(file order by started_at) as file,
    list(epoch(started_at) order by started_at) as started_s,
    list(epoch(ended_at) order by started_at) as ended_s,
    list(hours order by started_at) as hours
from run_hours
group by engine_id
