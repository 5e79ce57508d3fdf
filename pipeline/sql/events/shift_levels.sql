/*
title = "Settled positions"
what = """Where each shift came to rest. The plateau runs from 1.5 s after the step (a slow shift: from 0.5 s after
arrival; a target that goes on moving: from its coming to rest) to the end, at most the last 5 s, at least 0.5 s, and 95 % of
it must lie within 1 % of travel of its median."""
reads = ["position_doubts", "shift_rows", "steps"]

[columns]
start_pct = "position just before the step, % of travel"
held_target_pct = "the target where the position settled: the one then in force, also where it ramped in or was re-set a little"
*/
with late_halves as (
    -- a first guess that a slow transit cannot spoil: the median of the later half
    select
        shift_no,
        any_value(step_s) as step_s,
        any_value(until_s) as until_s,
        median(position_pct) filter (time_s >= greatest(until_s - 5, (step_s + until_s) / 2)) as guess_pct,
        arg_min(position_pct, time_s) as first_pct,
        arg_max(target_pct, time_s) as last_target_pct,
        count(position_pct) as positions,
        count(distinct position_pct) as distinct_positions,
        bool_and(position_pct <= 0.01 or position_pct >= 99.99) as is_at_range_end
    from shift_rows
    group by shift_no
),

outside as (
    select
        shift_rows.shift_no,
        shift_rows.time_s
    from shift_rows
    inner join late_halves on shift_rows.shift_no = late_halves.shift_no
    where abs(shift_rows.position_pct - late_halves.guess_pct) > 2
    union all
    -- just before the step stands for being outside, so that every shift has a beginning
    select
        shift_no,
        step_s - 1e-6 as time_s
    from late_halves
),

absences as (
    select
        shift_no,
        time_s as outside_s,
        lead(time_s, 1, 1e300) over (partition by shift_no order by time_s) as next_outside_s
    from outside
),

entries as (
    -- few of them: only where the position then keeps inside for half a second
    select
        absences.shift_no,
        absences.next_outside_s,
        min(shift_rows.time_s) as entered_s
    from absences
    inner join shift_rows on absences.shift_no = shift_rows.shift_no and absences.outside_s < shift_rows.time_s
    where absences.next_outside_s - absences.outside_s > 0.5 and shift_rows.position_pct is not null
    group by
        absences.shift_no,
        absences.next_outside_s
),

arrivals as (
    select
        shift_no,
        min(entered_s) as arrived_s
    from entries
    where next_outside_s - entered_s > 0.5
    group by shift_no
),

target_moves as (
    -- the last time the target was elsewhere: what settled before then settled for another target
    select
        shift_rows.shift_no,
        max(shift_rows.time_s) as elsewhere_s
    from shift_rows
    inner join late_halves on shift_rows.shift_no = late_halves.shift_no
    where abs(shift_rows.target_pct - late_halves.last_target_pct) > 1
    group by shift_rows.shift_no
),

plateaus as (
    select
        late_halves.*,
        greatest(
            late_halves.step_s + 1.5,
            arrivals.arrived_s + 0.5,
            target_moves.elsewhere_s,
            late_halves.until_s - 5
        ) as plateau_s
    from late_halves
    left join arrivals on late_halves.shift_no = arrivals.shift_no
    left join target_moves on late_halves.shift_no = target_moves.shift_no
),

medians as (
    select
        plateaus.shift_no,
        any_value(plateaus.plateau_s) as plateau_s,
        any_value(plateaus.step_s) as step_s,
        any_value(plateaus.until_s) as until_s,
        any_value(plateaus.first_pct) as first_pct,
        any_value(plateaus.positions) as positions,
        any_value(plateaus.distinct_positions) as distinct_positions,
        any_value(plateaus.is_at_range_end) as is_at_range_end,
        any_value(plateaus.last_target_pct) as held_target_pct,
        -- one list, so that the positions are put in order once
        quantile_cont(shift_rows.position_pct, [0.025, 0.5, 0.975]) as quantiles_pct,
        quantiles_pct[1] as low_pct,
        quantiles_pct[2] as settled_pct,
        quantiles_pct[3] as high_pct
    from plateaus
    left join shift_rows
        on plateaus.shift_no = shift_rows.shift_no and shift_rows.time_s >= plateaus.plateau_s
    group by plateaus.shift_no
)

select
    medians.shift_no,
    steps.run_no,
    coalesce(steps.start_pct, medians.first_pct) as start_pct,
    medians.held_target_pct,
    case
        when medians.positions = 0 then 'no position logged'
        when position_doubts.fault = 'wrong unit' then 'position is not in % of travel'
        when position_doubts.fault = 'impossible' then 'position jumps faster than an actuator moves'
        when position_doubts.fault = 'stuck' then 'position stuck at an end of its range'
        when medians.positions >= 5 and medians.distinct_positions = 1 and medians.is_at_range_end
            then 'position stuck at an end of its range'
        when medians.positions >= 5 and medians.distinct_positions = 1 then 'position is a flat line'
        when medians.settled_pct is null or medians.until_s - medians.plateau_s < 0.5 then 'plateau too short'
        when greatest(medians.high_pct - medians.settled_pct, medians.settled_pct - medians.low_pct) > 1
            then 'never steady'
    end as why_null,
    case when why_null is null then medians.settled_pct end as settled_pct,
    -- still though it had both the time and somewhere to go
    medians.until_s - medians.step_s >= 1.5
    and medians.positions >= 5
    and medians.distinct_positions = 1
    and abs(medians.first_pct - steps.target_pct) > 5 as is_flat
from medians
inner join steps on medians.shift_no = steps.shift_no
left join position_doubts on steps.run_no = position_doubts.run_no
