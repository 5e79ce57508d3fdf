/*
title = "idle_windows"
what = """Every idle window, up to a moment."""
*/
select
    split_part(idle_windows.engine_id, '/', 1) as boat,
    split_part(idle_windows.engine_id, '/', 2) as engine,
    logs.log_id as log,
    logs.file,
    idle_windows.run_id,
    idle_windows.started_at,
    idle_windows.duration_s,
    idle_windows.gear,
    idle_windows.temp_c,
    idle_windows.coolant_c,
    idle_windows.rpm_mean,
    idle_windows.rpm_sd,
    idle_windows.rpm_target,
    idle_windows.integral_pct,
    idle_windows.is_unsettled,
    idle_windows.fuel_trim_pct,
    idle_windows.thermal,
    idle_windows.battery_v,
    idle_windows.oil_kpa
from events.idle_windows
inner join marts.logs on idle_windows.log_id = logs.log_id
where logs.ended_at <= $as_of
order by
    idle_windows.started_at,
    idle_windows.engine_id
