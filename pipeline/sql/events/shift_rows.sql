/*
title = "Shift rows"
what = """The samples that measure a shift: its first 8 s and its last 5 s."""
reads = ["samples", "steps", "timeline"]
*/
with near as (
    select
        steps.shift_no,
        steps.step_s,
        steps.until_s,
        samples.time_s,
        samples.shift_position,
        samples.shift_target,
        samples.rpm,
        samples.rpm_target,
        samples.is_at_rest,
        samples.gear,
        samples.battery,
        coalesce(samples.oil_temp, samples.coolant_temp) as temp_c
    from timeline
    positional join samples
    inner join steps on timeline.step_s = steps.step_s
)

select
    shift_no,
    step_s,
    until_s,
    time_s,
    shift_position as position_pct,
    shift_target as target_pct,
    rpm,
    rpm_target,
    is_at_rest,
    gear,
    battery as battery_v,
    temp_c
from near
where time_s <= step_s + 8 or time_s >= until_s - 5
