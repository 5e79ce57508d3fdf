/*
title = "Shift samples"
what = """The samples that measure a shift: its first 8 s and its last 5 s."""
reads = ["timeline"]
view = true

[columns]
position_s = "the time where the sample has a position"
early_position_s = "the same within the first 8 s, which are one stretch without a gap"
late_pct = "position in the later half, at most the last 5 s"
late_gear = "gear in the later half"
rpm_below_target = "target minus speed in the first 3 s"
rpm_above_target = "speed minus target in the first 3 s"
was_at_rest = "whether the helm was at rest, in the first 3 s"
*/
select
    shift_no,
    step_s,
    time_s,
    shift_position as position_pct,
    shift_target as target_pct,
    gear,
    case when shift_position is not null then time_s end as position_s,
    case when time_s <= step_s + 8 then position_s end as early_position_s,
    case when time_s >= greatest(until_s - 5, (step_s + until_s) / 2) then shift_position end as late_pct,
    case when time_s >= (step_s + until_s) / 2 then gear end as late_gear,
    case when time_s <= step_s + 2 then battery end as early_battery_v,
    case when time_s <= step_s + 2 then coalesce(oil_temp, coolant_temp) end as early_temp_c,
    case when time_s <= step_s + 3 then rpm_target - rpm end as rpm_below_target,
    case when time_s <= step_s + 3 then rpm - rpm_target end as rpm_above_target,
    case when time_s <= step_s + 3 then is_at_rest end as was_at_rest
from timeline
where is_turning and shift_no is not null and (time_s <= step_s + 8 or time_s >= until_s - 5)
