/*
title = "Channel states"
what = """How each channel looked in each run: its values, its glitches, and whether the shift position can be believed as a
whole. What an unbelievable signal says is a finding about the sensor, never about the actuator."""
reads = ["channel_parts", "glitches", "run_spans", "sensor_spikes", "shift_positions", "shift_sums", "steps"]

[columns]
n = "samples of the channel in the run, at least 5"
first_mean = "mean of the run's first 30 s; null where the channel was blank there"
last_mean = "mean of the last whole part, where the run has several"
last_swept = "how far it moved in that part"
parts = "parts of the run"
lost_parts = "parts without a value after one that has several"
doubt = """position only: a fraction where % of travel belongs (wrong unit), moving before the target does (swapped), never away
from one end (stuck), or three and more jumps that no actuator makes (impossible); only in a run with shifts"""
*/
with glitched as (
    select
        time_s,
        channel,
        is_spike
    from glitches
    union all
    select
        time_s,
        channel,
        is_spike
    from sensor_spikes
),

counted as (
    select
        run_spans.run_no,
        glitched.channel,
        count(*) filter (glitched.is_spike) as spikes,
        count(*) filter (not glitched.is_spike) as jumps
    from glitched
    inner join run_spans on glitched.time_s between run_spans.started_s and run_spans.ended_s
    group by
        run_spans.run_no,
        glitched.channel
),

seen as (
    select
        run_no,
        channel,
        sum(n)::bigint as n,
        min(low) as low,
        max(high) as high,
        sum(mean * n) / sum(n) as mean,
        max(mean) filter (part_no = 0) as first_mean,
        arg_max(mean, part_no) filter (to_s - from_s > 20) as last_mean,
        arg_max(high - low, part_no) filter (to_s - from_s > 20) as last_swept,
        count(*) as parts,
        median(n) filter (n > 0) as usual_n,
        min(part_no) filter (n > 0) as first_part
    from channel_parts
    group by
        run_no,
        channel
),

lost as (
    select
        seen.run_no,
        seen.channel,
        count(*) as lost_parts
    from channel_parts
    inner join seen on channel_parts.run_no = seen.run_no and channel_parts.channel = seen.channel
    where
        channel_parts.n = 0
        and channel_parts.samples >= 10
        and channel_parts.part_no > seen.first_part
        and seen.usual_n >= 3
    group by
        seen.run_no,
        seen.channel
),

early as (
    -- shifts in which the position was already there, and never moved again, while the target was still elsewhere
    select shift_positions.shift_no
    from shift_positions
    inner join steps on shift_positions.shift_no = steps.shift_no
    inner join shift_sums on shift_positions.shift_no = shift_sums.shift_no
    where
        abs(steps.target_pct - steps.from_target_pct) > 10
        and abs(shift_sums.guess_pct - shift_sums.last_target_pct) < 10
        and shift_positions.time_s < steps.step_s + 2
        -- the last samples may lead the next shift already
        and shift_positions.time_s < steps.until_s - 0.3
    group by shift_positions.shift_no
    having
        max(abs(shift_positions.position_pct - shift_sums.guess_pct)) < 3
        and (
            bool_or(
                abs(steps.start_pct - shift_sums.guess_pct) < 3 and abs(steps.start_pct - steps.from_target_pct) > 10
            )
            or bool_or(abs(shift_positions.target_pct - shift_sums.last_target_pct) > 5)
        )
),

led as (
    select
        steps.run_no,
        count(*) as steps,
        count(early.shift_no) as early_steps
    from steps
    left join early on steps.shift_no = early.shift_no
    group by steps.run_no
)

select
    seen.*,
    coalesce(counted.spikes, 0) as spikes,
    coalesce(counted.jumps, 0) as jumps,
    coalesce(lost.lost_parts, 0) as lost_parts,
    coalesce(led.steps, 0) as steps,
    coalesce(led.early_steps, 0) as early_steps,
    case
        when seen.channel <> 'shift_position' or led.run_no is null then null
        -- the dead ends of a sensor: a target in % of travel never lies there; a fraction stands well off zero
        when seen.low >= -1.5 and seen.high <= 1.5 and seen.mean > 0.05 then 'wrong unit'
        -- no actuator is where it is told to be before it is told
        when seen.high - seen.low > 20 and led.steps >= 3 and led.early_steps >= 0.8 * led.steps then 'swapped'
        when seen.low < seen.high and (seen.high <= 1.5 or seen.low >= 98.5) then 'stuck'
        when counted.jumps >= 3 then 'impossible'
    end as doubt
from seen
left join counted on seen.run_no = counted.run_no and seen.channel = counted.channel
left join lost on seen.run_no = lost.run_no and seen.channel = lost.channel
left join led on seen.run_no = led.run_no
where seen.n >= 5
