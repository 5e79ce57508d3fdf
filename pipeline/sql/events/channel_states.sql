/*
title = "Channel states"
what = """How each channel looked in each run: its values, its glitches, and whether the shift position can be believed as a
whole. What an unbelievable signal says is a finding about the sensor, never about the actuator."""
reads = ["glitches", "run_spans", "run_states", "steps"]

[columns]
n = "samples of the channel in the run, at least 5"
doubt = """position only: a fraction where % of travel belongs (wrong unit), never away from one end (stuck), or three and more
jumps that no actuator makes (impossible); only in a run with shifts"""
*/
with counted as (
    select
        run_spans.run_no,
        glitches.channel,
        count(*) filter (glitches.is_spike) as spikes,
        count(*) filter (not glitches.is_spike) as jumps
    from glitches
    inner join run_spans on glitches.time_s between run_spans.started_s and run_spans.ended_s
    group by
        run_spans.run_no,
        glitches.channel
),

seen as (
    select
        run_no,
        unnest(channels, recursive := true)
    from run_states
)

select
    seen.*,
    coalesce(counted.spikes, 0) as spikes,
    coalesce(counted.jumps, 0) as jumps,
    case
        when seen.channel <> 'shift_position' or seen.run_no not in (select run_no from steps) then null
        -- the dead ends of a sensor: a target in % of travel never lies there; a fraction stands well off zero
        when seen.low >= -1.5 and seen.high <= 1.5 and seen.mean > 0.05 then 'wrong unit'
        when seen.low < seen.high and (seen.high <= 1.5 or seen.low >= 98.5) then 'stuck'
        when counted.jumps >= 3 then 'impossible'
    end as doubt
from seen
left join counted on seen.run_no = counted.run_no and seen.channel = counted.channel
where seen.n >= 5
