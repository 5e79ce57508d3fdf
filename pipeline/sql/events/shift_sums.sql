/*
title = "Shift sums"
what = """What one pass over the samples of each shift tells: how its channels stood, and a first guess of where the position
came to rest."""
reads = ["shift_samples"]

[columns]
position_step_s = "the usual step between two position samples"
guess_pct = "median position of the later half: a slow transit cannot spoil it"
settled_gear = "the gear of the later half: a lever may move on a little before the target does, so the last sample is no witness"
*/
select
    shift_no,
    min(position_s) as first_position_s,
    (max(early_position_s) - min(early_position_s)) / nullif(count(early_position_s) - 1, 0) as position_step_s,
    -- the first that is not blank, as rows come in the order of time
    any_value(position_pct) as first_pct,
    min(position_pct) as lowest_pct,
    max(position_pct) as highest_pct,
    count(position_pct) as positions,
    median(late_pct) as guess_pct,
    arg_max(target_pct, time_s) as last_target_pct,
    coalesce(quantile_disc(late_gear, 0.5), arg_max(gear, time_s)) as settled_gear,
    mean_of(early_battery_v) as battery_v,
    mean_of(early_temp_c) as temp_c,
    max(rpm_below_target) as below_rpm,
    max(rpm_above_target) as above_rpm,
    coalesce(min(was_at_rest), false) as stayed_at_rest,
    max(time_s) >= any_value(step_s) + 2.9 as saw_three_seconds
from shift_samples
group by shift_no
