/*
title = "shifts"
what = """Every shift, up to a moment."""
*/
select
    split_part(shifts.engine_id, '/', 1) as boat,
    split_part(shifts.engine_id, '/', 2) as engine,
    logs.log_id as log,
    logs.file,
    shifts.run_id,
    shifts.started_at,
    shifts.held_s,
    shifts.from_gear,
    shifts.to_gear,
    shifts.from_target_pct,
    shifts.target_pct,
    shifts.start_pct,
    shifts.settled_pct,
    shifts.reach_error_pct,
    shifts.transit_s,
    shifts.hesitation_s,
    shifts.overshoot_pct,
    shifts.dip_rpm,
    shifts.flare_rpm,
    shifts.battery_v,
    shifts.temp_c,
    shifts.why_null
from events.shifts
inner join marts.logs on shifts.log_id = logs.log_id
where logs.ended_at <= $as_of
order by
    shifts.started_at,
    shifts.engine_id
