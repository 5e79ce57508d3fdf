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
with step_counts as (
    select
        run_no,
        count(*) as steps,
        -- a sensor that dies in mid-run: still, though the target moved
        count(*) filter (is_flat) as flat_steps
    from shift_levels
    group by run_no
),

known as (
    select
        channel_states.*,
        run_states.started_s,
        run_states.ended_s - run_states.started_s as seconds,
        run_states.is_cold_start,
        run_states.rpm_max - run_states.rpm_min as rpm_swept,
        channel_ranges.low as lowest,
        channel_ranges.high as highest,
        coalesce(step_counts.steps, 0) as steps,
        coalesce(step_counts.flat_steps, 0) as flat_steps
    from channel_states
    inner join run_states on channel_states.run_no = run_states.run_no
    inner join channel_ranges on channel_states.channel = channel_ranges.channel
    left join step_counts on channel_states.run_no = step_counts.run_no
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
