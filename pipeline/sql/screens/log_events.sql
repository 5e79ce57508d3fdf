/*
title = "Events of a log"
what = """What happened in one log of one engine, in time order: runs, shifts, idle windows, slow lifts off idle, stalls and
channels that cannot be believed. Parameters: the engine, the log."""
reads = ["events.runs", "events.shifts", "events.idle_windows", "events.pick_ups", "events.stalls", "events.signals"]

[columns]
kind = "run, shift, idle, lift, stall or signal"
seconds = "how long it lasted; null where that is not known"
gear = "gear reached or in force; null where it cannot be told"
value = "reach error in % of travel, integral in %, lean swing in lambda, seconds to the restart; null where not known"
remark = "cold start; why a shift has no reading; shift or idle before a stall; what is wrong with a channel"
from_gear = "gear before a shift"
*/
select
    'run' as kind,
    epoch(runs.started_at) as at_s,
    runs.seconds,
    null as gear,
    null::double as value,
    case when runs.is_cold_start then 'cold start' end as remark,
    null as from_gear
from events.runs
where runs.engine_id = $engine_id and runs.log_id = $log_id
union all
select
    'shift' as kind,
    epoch(shifts.started_at) as at_s,
    shifts.held_s as seconds,
    shifts.to_gear as gear,
    shifts.reach_error_pct as value,
    shifts.why_null as remark,
    shifts.from_gear
from events.shifts
where shifts.engine_id = $engine_id and shifts.log_id = $log_id
union all
select
    'idle' as kind,
    epoch(idle_windows.started_at) as at_s,
    idle_windows.duration_s as seconds,
    idle_windows.gear,
    idle_windows.integral_pct as value,
    null as remark,
    null as from_gear
from events.idle_windows
where idle_windows.engine_id = $engine_id and idle_windows.log_id = $log_id
union all
select
    'lift' as kind,
    epoch(pick_ups.started_at) as at_s,
    pick_ups.duration_s as seconds,
    'neutral' as gear,
    pick_ups.lean_lambda as value,
    null as remark,
    null as from_gear
from events.pick_ups
where pick_ups.engine_id = $engine_id and pick_ups.log_id = $log_id
union all
select
    'stall' as kind,
    epoch(stalls.started_at) as at_s,
    null as seconds,
    stalls.gear,
    stalls.restart_s as value,
    stalls.how as remark,
    null as from_gear
from events.stalls
where stalls.engine_id = $engine_id and stalls.log_id = $log_id
union all
select
    'signal' as kind,
    epoch(signals.started_at) as at_s,
    null as seconds,
    null as gear,
    null as value,
    concat_ws(': ', signals.channel, coalesce(signals.detail, signals.fault)) as remark,
    null as from_gear
from events.signals
where signals.engine_id = $engine_id and signals.log_id = $log_id
order by
    at_s
