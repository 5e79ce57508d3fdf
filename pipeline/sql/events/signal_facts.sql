/*
title = "Signal facts"
what = """What the judgement of a channel needs to know of its run beside the channel itself: one row a run."""
reads = ["channel_parts", "channel_states", "run_states", "shift_levels", "standing_air"]

[columns]
rest_parts = "whole parts with the helm at rest"
rest_rpm = "median over these of the mean speed"
rest_ratio = "the same, divided by the idle target"
idle_parts = "whole parts with the speed within 150 of its target throughout"
starved_parts = "parts in which the engine turned all the while and the battery read below 6 V or above 18 V"
end_parts = "parts in closed loop with the trim at one value beyond 15 % of either sign: an end of its range"
flat_steps = "shifts through which the position stood still though the target moved"
*/
with parts as (
    select
        run_no,
        count(*) filter (channel = 'rpm' and is_resting) as rest_parts,
        median(mean) filter (channel = 'rpm' and is_resting) as rest_rpm,
        median(mean / rpm_target) filter (channel = 'rpm' and is_resting and rpm_target > 0) as rest_ratio,
        count(*) filter (
            channel = 'rpm' and not is_resting and rpm_low > rpm_target - 150 and rpm_high < rpm_target + 150
        ) as idle_parts,
        count(*) filter (channel = 'battery' and rpm_low > 300 and (low < 6 or high > 18)) as starved_parts,
        count(*) filter (channel = 'fuel_trim' and is_closed and low = high and abs(low) >= 15) as end_parts
    from channel_parts
    where to_s - from_s > 20
    group by run_no
),

channels as (
    select
        run_no,
        max(high) filter (channel = 'rpm') as rpm_high,
        max(mean) filter (channel = 'pedal') as pedal_mean,
        max(mean) filter (channel = 'throttle') as throttle_mean,
        bool_or(channel = 'shift_target' and low >= -0.2 and high <= 1.5 and high - low >= 0.2) as is_target_share
    from channel_states
    group by run_no
),

stood as (
    select
        run_no,
        count(*) filter (is_flat) as flat_steps
    from shift_levels
    group by run_no
)

select
    run_states.run_no,
    run_states.started_s,
    run_states.ended_s - run_states.started_s as seconds,
    run_states.is_cold_start,
    run_states.rpm_dropouts,
    run_states.rpm_max - run_states.rpm_min as rpm_swept,
    channels.* exclude (run_no),
    coalesce(parts.rest_parts, 0) as rest_parts,
    parts.rest_rpm,
    parts.rest_ratio,
    coalesce(parts.idle_parts, 0) as idle_parts,
    coalesce(parts.starved_parts, 0) as starved_parts,
    coalesce(parts.end_parts, 0) as end_parts,
    coalesce(stood.flat_steps, 0) as flat_steps,
    standing_air.stands_kpa
from run_states
inner join channels on run_states.run_no = channels.run_no
left join parts on run_states.run_no = parts.run_no
left join stood on run_states.run_no = stood.run_no
left join standing_air on run_states.run_no = standing_air.run_no
