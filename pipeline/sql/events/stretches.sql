/*
title = "Stretches"
what = """Stretches of samples, one after another, in which nothing changes that an event is told from: whether the engine
turns, the shift target, the gear, whether the helm is at rest, whether the speed is that of idle. A hole of more than 3 s
parts them too. Few rows stand for the long table, so it is walked once and everything else is told from them."""
reads = ["pieces", "samples"]

[columns]
from_s = "its first sample"
to_s = "its last sample"
samples = "how many"
previous_s = "the last sample before it; null at the very beginning"
is_calm = "helm at rest and rpm within 150 of its target (450 to 1000 where no target is logged)"
is_lifted = "helm opened in neutral, rpm at or below 1300"
previous_position_pct = "shift position just before it, % of travel"
is_target_move = "it begins with a move of the shift target"
*/
with judged as (
    select
        time_s,
        shift_target,
        shift_position,
        gear,
        coalesce(rpm > 200, false) as is_turning,
        coalesce(is_at_rest, false) as is_at_rest,
        coalesce(
            is_at_rest
            and case when rpm_target is null then rpm between 450 and 1000 else abs(rpm - rpm_target) <= 150 end,
            false
        ) as is_calm,
        coalesce(gear = 0 and not is_at_rest and rpm <= 1300, false) as is_lifted
    from samples
),

neighbours as (
    -- windows over rows in file order stream; time is strictly rising, so no sort is needed
    select
        *,
        row_number() over () as sample_no,
        lag(time_s) over () as previous_s,
        lag(is_turning) over () as was_turning,
        lag(is_at_rest) over () as was_at_rest,
        lag(is_calm) over () as was_calm,
        lag(is_lifted) over () as was_lifted,
        lag(shift_target) over () as previous_target,
        lag(gear) over () as previous_gear,
        lag(shift_position) over () as previous_position_pct,
        -- in a fast log a target that ramps moves little from sample to sample: faster than 10 % of travel a second counts
        coalesce(abs(shift_target - previous_target) > least(0.25, 10 * (time_s - previous_s)), false) as is_target_move
    from judged
),

firsts as (
    select *
    from neighbours
    where
        previous_s is null
        or time_s - previous_s > 3
        or time_s <= previous_s
        or is_turning <> was_turning
        or is_at_rest <> was_at_rest
        or is_calm <> was_calm
        or is_lifted <> was_lifted
        or is_target_move
        or gear is distinct from previous_gear
)

select
    case
        when time_s <= previous_s then error('out of step: a sample stands before an earlier one')
        else time_s
    end as from_s,
    coalesce(lead(previous_s) over (order by sample_no), (select max(to_s) from pieces)) as to_s,
    coalesce(lead(sample_no) over (order by sample_no), (select sum(samples) + 1 from pieces)::bigint) - sample_no as samples,
    previous_s,
    is_turning,
    coalesce(was_turning, false) as was_turning,
    is_at_rest,
    is_calm,
    is_lifted,
    shift_target,
    previous_target,
    gear,
    previous_gear,
    previous_position_pct,
    is_target_move
from firsts
order by sample_no
