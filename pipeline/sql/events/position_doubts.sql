/*
title = "Position doubts"
what = """Runs with shifts whose position signal cannot be believed as a whole: a fraction where % of travel belongs (wrong
unit), never away from one end though the target moved (stuck), or three and more jumps that no actuator makes (impossible).
What such a signal says is a finding about the sensor, never about the actuator."""
reads = ["glitches", "run_spans", "run_states", "steps"]
*/
with jump_counts as (
    select
        run_spans.run_no,
        count(*) as jumps
    from glitches
    inner join run_spans on glitches.time_s between run_spans.started_s and run_spans.ended_s
    where glitches.channel = 'shift_position' and not glitches.is_spike
    group by run_spans.run_no
),

seen as (
    select
        run_no,
        unnest(channels) as channel
    from run_states
),

positions as (
    select
        seen.run_no,
        seen.channel.n as n,
        seen.channel.low as low_pct,
        seen.channel.high as high_pct,
        seen.channel.mean as mean_pct,
        coalesce(jump_counts.jumps, 0) as jumps
    from seen
    left join jump_counts on seen.run_no = jump_counts.run_no
    where seen.channel.channel = 'shift_position' and seen.run_no in (select run_no from steps)
)

select
    run_no,
    jumps,
    case
        -- the dead ends of a sensor: a target in % of travel never lies there; a fraction stands well off zero
        when low_pct >= -1.5 and high_pct <= 1.5 and mean_pct > 0.05 then 'wrong unit'
        when low_pct < high_pct and (high_pct <= 1.5 or low_pct >= 98.5) then 'stuck'
        when jumps >= 3 then 'impossible'
    end as fault
from positions
where n >= 5 and fault is not null
