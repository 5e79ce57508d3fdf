/*
title = "Shift sums"
what = """What one pass over the samples of each shift tells: how its channels stood, and a first guess of where the position
came to rest."""
reads = ["shift_samples"]

[columns]
position_step_s = "the usual step between two position samples"
guess_pct = "median position of the later half, at most the last 5 s: a slow transit cannot spoil it"
settled_gear = "the gear of the later half"
*/
select
    shift_no,
    min(time_s) filter (shift_position is not null) as first_position_s,
    -- the first 8 s of a shift are one stretch, so span over count is the step
    (max(time_s) filter (time_s <= step_s + 8 and shift_position is not null) - first_position_s)
    / nullif(count(shift_position) filter (time_s <= step_s + 8) - 1, 0) as position_step_s,
    arg_min(shift_position, time_s) as first_pct,
    min(shift_position) as lowest_pct,
    max(shift_position) as highest_pct,
    count(shift_position) as positions,
    bool_and(shift_position <= 0.01 or shift_position >= 99.99) as is_at_range_end,
    median(shift_position) filter (time_s >= greatest(until_s - 5, half_s)) as guess_pct,
    arg_max(shift_target, time_s) as last_target_pct,
    avg(battery) filter (time_s <= step_s + 2) as battery_v,
    avg(coalesce(oil_temp, coolant_temp)) filter (time_s <= step_s + 2) as temp_c,
    -- a lever may move on a little before the target does, so the last sample is no witness
    coalesce(quantile_disc(gear, 0.5) filter (time_s >= half_s), arg_max(gear, time_s)) as settled_gear,
    max(rpm_target - rpm) filter (time_s <= step_s + 3) as below_rpm,
    max(rpm - rpm_target) filter (time_s <= step_s + 3) as above_rpm,
    coalesce(bool_and(is_at_rest) filter (time_s <= step_s + 3), false) as stayed_at_rest,
    max(time_s) >= any_value(step_s) + 2.9 as saw_three_seconds
from shift_samples
group by shift_no
