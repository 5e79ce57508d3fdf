/*
title = "Edges"
what = """Samples where something changes: the engine starts or stops turning, the log has a hole, the shift target or
the gear moves. A handful of rows from which runs and shifts are told, so the long table is walked once."""
reads = ["samples"]
*/
with neighbours as (
    -- lag over rows in file order streams; time is strictly rising, so no sort is needed
    select
        time_s,
        rpm > 200 as is_turning,
        shift_target,
        gear,
        lag(time_s) over () as previous_time_s,
        coalesce(lag(rpm > 200) over (), false) as was_turning,
        lag(shift_target) over () as previous_target,
        lag(gear) over () as previous_gear,
        lag(shift_position) over () as previous_position_pct
    from samples
)

select
    time_s,
    coalesce(is_turning, false) as is_turning,
    was_turning,
    coalesce(time_s - previous_time_s > 10, false) as is_after_hole,
    previous_time_s,
    shift_target,
    previous_target,
    gear,
    previous_gear,
    previous_position_pct,
    -- in a fast log a target that ramps moves little from sample to sample: faster than 10 % of travel a second counts
    coalesce(abs(shift_target - previous_target) > least(0.25, 10 * (time_s - previous_time_s)), false) as is_target_move
from neighbours
where
    coalesce(is_turning, false) is distinct from was_turning
    or time_s - previous_time_s > 10
    or is_target_move
    or gear <> previous_gear
