/*
title = "Idle windows of an engine"
what = """Every idle window of one engine up to a moment, each with how many runs ago it was: 0 is the newest run.
Parameters: the engine, the moment."""
reads = ["events.idle_windows", "marts.logs"]
*/
select
    epoch(idle_windows.started_at) as at_s,
    idle_windows.log_id,
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
    dense_rank() over (order by idle_windows.run_id desc) - 1 as runs_ago
from events.idle_windows
inner join marts.logs on idle_windows.log_id = logs.log_id
where idle_windows.engine_id = $engine_id and logs.ended_at <= $as_of
order by
    idle_windows.started_at
