/*
title = "Standstills"
what = """Stretches of whole parts of a run through which a channel gave one and the same value, to the last digit, although
the engine did what moves it. How long is too long, and what moves a channel, is common practice: no published source."""
reads = ["channel_parts"]

[columns]
seconds = "how long it stood"
stood_at = "the value, in the channel's unit"
goes_on = "the channel gave other values before or after"
*/
with company as (
    -- what the channels that should move along did in the same part
    select
        run_no,
        part_no,
        max(low) filter (channel = 'oil_temp') as oil_c,
        max(low) filter (channel = 'coolant_temp') as coolant_c,
        max(low) filter (channel = 'pedal') as pedal_low,
        max(high) filter (channel = 'pedal') as pedal_high,
        max(low) filter (channel = 'throttle') as throttle_low,
        max(high) filter (channel = 'throttle') as throttle_high
    from channel_parts
    where channel in ('oil_temp', 'coolant_temp', 'pedal', 'throttle')
    group by
        run_no,
        part_no
),

compared as (
    select
        channel_parts.*,
        case channel_parts.channel when 'coolant_temp' then oil_c when 'oil_temp' then coolant_c end as other_c,
        case channel_parts.channel when 'throttle' then pedal_low when 'pedal' then throttle_low end as other_low,
        case channel_parts.channel when 'throttle' then pedal_high when 'pedal' then throttle_high end as other_high,
        coalesce(n >= 3 and low = high, false) as is_still,
        coalesce(lag(n >= 3 and low = high) over in_order and lag(low) over in_order = low, false) as is_as_before
    from channel_parts
    inner join company on channel_parts.run_no = company.run_no and channel_parts.part_no = company.part_no
    where channel_parts.n > 0
    window in_order as (partition by channel_parts.run_no, channel_parts.channel order by channel_parts.part_no)
),

numbered as (
    select
        *,
        sum(case when is_still and is_as_before then 0 else 1 end)
            over (partition by run_no, channel order by part_no) as stand_no
    from compared
),

stands as (
    select
        run_no,
        channel,
        stand_no,
        count(*) as parts,
        sum(to_s - from_s) as seconds,
        any_value(low) as stood_at,
        max(rpm_high) - min(rpm_low) as rpm_swept,
        max(other_c) - min(other_c) as other_swept_c,
        max(other_high) - min(other_low) as other_swept_pct,
        bool_and(is_resting) as is_resting,
        bool_and(is_closed) as is_closed
    from numbered
    where is_still
    group by
        run_no,
        channel,
        stand_no
)

select
    run_no,
    channel,
    max(seconds) as seconds,
    arg_max(stood_at, seconds) as stood_at
from stands
where
    case channel
        when 'rpm' then parts >= 2
        when 'lambda' then parts >= 2 and rpm_swept > 500
        when 'oil_pressure' then parts >= 2 and rpm_swept > 500
        when 'manifold_pressure' then parts >= 2 and rpm_swept > 500
        -- an unthrottled engine's plate stands open, and a helm at rest is moved by nobody
        when 'throttle' then parts >= 2 and rpm_swept > 1000 and stood_at < 50 and other_swept_pct > 20
        when 'pedal' then parts >= 2 and rpm_swept > 1000 and stood_at > 2 and other_swept_pct > 20
        -- a regulated temperature may stand; one below any thermostat's may not while the other one rises
        when 'coolant_temp' then parts >= 6 and stood_at < 50 and other_swept_c > 15
        when 'oil_temp' then parts >= 6 and stood_at < 50 and other_swept_c > 15
        -- zero is the open loop's, and an end of the range is the loop's own doing
        when 'fuel_trim' then parts >= 4 and is_closed and stood_at <> 0 and abs(stood_at) < 15 and rpm_swept > 500
        when 'idle_integral' then parts >= 6 and is_resting and stood_at <> 0
        when 'battery' then parts >= 10 and rpm_swept > 1000
    end
group by
    run_no,
    channel
