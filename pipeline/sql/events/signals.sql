/*
title = "Signal faults"
what = """Channels that cannot be believed in a run: flat, stuck at an end, spiking, impossible or in the wrong unit.
A data finding, never an engine finding."""

[columns]
channel = "the channel"
fault = "flat, stuck, spiking, impossible, wrong unit"
share = "share of the run's samples (flat in mid-run: of its shifts) that show it, 0 to 1"
samples = "samples of the channel in the run"
detail = "what was seen, in words"
*/
with glitch_counts as (
    select
        run_spans.run_no,
        glitches.channel,
        count(*) as spikes
    from glitches
    inner join run_spans on glitches.time_s between run_spans.started_s and run_spans.ended_s
    where glitches.is_spike
    group by
        run_spans.run_no,
        glitches.channel
),

step_counts as (
    select
        run_no,
        count(*) as steps,
        -- a sensor that dies in mid-run: still, though the target moved
        count(*) filter (is_flat) as flat_steps
    from shift_levels
    group by run_no
),

listed as (
    select
        run_no,
        started_s,
        ended_s - started_s as seconds,
        is_cold_start,
        rpm_max - rpm_min as rpm_swept,
        unnest(channels) as seen
    from run_states
),

known as (
    select
        listed.run_no,
        listed.started_s,
        listed.seconds,
        listed.is_cold_start,
        listed.rpm_swept,
        listed.seen.channel as channel,
        listed.seen.n as n,
        listed.seen.low as low,
        listed.seen.high as high,
        listed.seen.mean as mean,
        channel_ranges.low as lowest,
        channel_ranges.high as highest,
        coalesce(glitch_counts.spikes, 0) as spikes,
        coalesce(step_counts.steps, 0) as steps,
        coalesce(step_counts.flat_steps, 0) as flat_steps,
        case when listed.seen.channel = 'shift_position' then position_doubts.fault end as doubt,
        coalesce(position_doubts.jumps, 0) as jumps
    from listed
    inner join channel_ranges on listed.seen.channel = channel_ranges.channel
    left join glitch_counts on listed.run_no = glitch_counts.run_no and listed.seen.channel = glitch_counts.channel
    left join step_counts on listed.run_no = step_counts.run_no
    left join position_doubts on listed.run_no = position_doubts.run_no
    where listed.seen.n >= 5
),

faults as (
    select
        *,
        case
            -- a mean past anything such an engine reaches, yet ordinary in the other unit
            when channel = 'lambda' and mean between 7 and 25 then 'wrong unit'
            when channel in ('coolant_temp', 'oil_temp') and mean between 135 and 260 then 'wrong unit'
            when low < lowest or high > highest then 'impossible'
            when doubt is not null then doubt
            when spikes >= 3 then 'spiking'
            when channel = 'shift_position' and low < high and flat_steps > 0 then 'flat'
            when low < high then null
            when channel = 'shift_position' and steps > 0 and (high >= 99.99 or low <= 0.01) then 'stuck'
            when channel = 'shift_position' and steps > 0 then 'flat'
            when channel = 'rpm' and seconds >= 30 then 'flat'
            when channel in ('lambda', 'oil_pressure') and seconds >= 60 and rpm_swept > 300 then 'flat'
            when channel in ('coolant_temp', 'oil_temp') and is_cold_start and seconds >= 240 then 'flat'
        end as fault
    from known
)

select
    started_s as run_s,
    started_s as start_s,
    channel,
    fault,
    case
        when fault = 'flat' and low < high then flat_steps / steps
        when fault in ('flat', 'stuck', 'wrong unit') then 1
        when fault = 'spiking' then spikes / n
        when doubt = 'impossible' then jumps / n
        else 1 / n
    end::double as share,
    n::integer as samples,
    case
        when fault = 'flat' and low < high then printf('still through %d of %d shifts', flat_steps, steps)
        when fault in ('flat', 'stuck') then printf('%g all through', low::double)
        when fault = 'spiking' then printf('%d single samples far from both neighbours', spikes)
        when doubt = 'impossible' then printf('%d jumps faster than an actuator moves', jumps)
        else printf('%g to %g, mean %g', low::double, high::double, mean::double)
    end as detail
from faults
where fault is not null
