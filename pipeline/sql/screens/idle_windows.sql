/*
title = "Idle windows of an engine"
what = """Every idle window of one engine up to a moment, each with when its run began. Parameters: the engine, the
moment."""
reads = ["events.idle_windows", "events.runs", "marts.logs"]
*/
select
    epoch(idle_windows.started_at) as at_s,
    idle_windows.log_id,
    idle_windows.run_id,
    logs.file,
    idle_windows.gear,
    idle_windows.duration_s,
    idle_windows.temp_c,
    idle_windows.rpm_mean,
    idle_windows.rpm_sd,
    idle_windows.integral_pct,
    idle_windows.is_unsettled,
    idle_windows.fuel_trim_pct,
    idle_windows.thermal,
    epoch(runs.started_at) as run_s
from events.idle_windows
inner join events.runs on idle_windows.run_id = runs.run_id
inner join marts.logs on idle_windows.log_id = logs.log_id
where idle_windows.engine_id = $engine_id and logs.ended_at <= $as_of
order by
    idle_windows.started_at
