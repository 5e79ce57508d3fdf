/*
title = "Shifts of an engine"
what = """Every shift of one engine up to a moment, as its screen draws them. Parameters: the engine, the moment."""
reads = ["events.shifts", "marts.logs"]
*/
select
    epoch(shifts.started_at) as at_s,
    shifts.log_id,
    shifts.run_id,
    logs.file,
    shifts.from_gear,
    shifts.to_gear,
    shifts.target_pct,
    shifts.settled_pct,
    shifts.reach_error_pct,
    shifts.transit_s,
    shifts.battery_v,
    shifts.temp_c,
    shifts.why_null
from events.shifts
inner join marts.logs on shifts.log_id = logs.log_id
where shifts.engine_id = $engine_id and logs.ended_at <= $as_of
order by
    shifts.started_at
