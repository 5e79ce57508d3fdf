/*
title = "Settled positions"
what = """Where each shift came to rest. The plateau runs from 1.5 s after the step (a slow shift: from 0.5 s after
arrival) to the end, at most the last 5 s, at least 0.5 s, and 95 % of it must lie within 1 % of travel of its median."""
reads = ["shift_rows", "steps"]
*/
with late_halves as (
    -- a first guess that a slow transit cannot spoil: the median of the later half
    select
        shift_no,
        any_value(step_s) as step_s,
        any_value(until_s) as until_s,
        median(position_pct) filter (time_s >= greatest(until_s - 5, (step_s + until_s) / 2)) as guess_pct,
        count(position_pct) as positions,
        count(distinct position_pct) as distinct_positions,
        max(position_pct) - min(position_pct) as swept_pct,
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
    select
        shift_no,
        step_s as time_s
    from late_halves
),

spaced as (
    select
        shift_no,
        time_s,
        lead(time_s, 1, 1e300) over (partition by shift_no order by time_s) - time_s as quiet_s
    from outside
),

arrivals as (
    -- the last time outside before the position first stays inside for half a second
    select
        shift_no,
        min(time_s) as last_outside_s
    from spaced
    where quiet_s > 0.5
    group by shift_no
),

plateaus as (
    select
        late_halves.*,
        greatest(late_halves.step_s + 1.5, arrivals.last_outside_s + 0.5, late_halves.until_s - 5) as plateau_s
    from late_halves
    inner join arrivals on late_halves.shift_no = arrivals.shift_no
),

medians as (
    select
        plateaus.shift_no,
        any_value(plateaus.plateau_s) as plateau_s,
        any_value(plateaus.until_s) as until_s,
        any_value(plateaus.positions) as positions,
        any_value(plateaus.distinct_positions) as distinct_positions,
        any_value(plateaus.swept_pct) as swept_pct,
        any_value(plateaus.is_at_range_end) as is_at_range_end,
        median(shift_rows.position_pct) as settled_pct,
        quantile_cont(shift_rows.position_pct, 0.025) as low_pct,
        quantile_cont(shift_rows.position_pct, 0.975) as high_pct
    from plateaus
    left join shift_rows
        on plateaus.shift_no = shift_rows.shift_no and shift_rows.time_s >= plateaus.plateau_s
    group by plateaus.shift_no
)

select
    shift_no,
    plateau_s,
    case
        when positions = 0 then 'no position logged'
        when positions >= 5 and distinct_positions = 1 and is_at_range_end then 'position stuck at an end of its range'
        when positions >= 5 and distinct_positions = 1 then 'position is a flat line'
        when settled_pct is null or until_s - plateau_s < 0.5 then 'plateau too short'
        when greatest(high_pct - settled_pct, settled_pct - low_pct) > 1 then 'never steady'
    end as why_null,
    case when why_null is null then settled_pct end as settled_pct
from medians
