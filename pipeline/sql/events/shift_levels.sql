/*
title = "Settled positions"
what = """Where each shift came to rest. The plateau runs from 1.5 s after the step (a slow shift: from 0.5 s after
arrival; a target that goes on moving: from its coming to rest) to the end, at most the last 5 s, at least 0.5 s, and 95 % of
it must lie within 1 % of travel of its median."""
reads = ["channel_states", "shift_positions", "shift_sums", "steps"]

[columns]
start_pct = "position just before the step, % of travel"
held_target_pct = "the target where the position settled: the one then in force, also where it ramped in or was re-set a little"
*/
with positions as (
    select
        shift_no,
        time_s,
        position_pct,
        case when lead(shift_no) over () = shift_no then lead(time_s) over () end as next_s
    from shift_positions
    where position_pct is not null
),

outside as (
    select
        positions.shift_no,
        positions.time_s,
        positions.next_s
    from positions
    inner join shift_sums on positions.shift_no = shift_sums.shift_no
    where abs(positions.position_pct - shift_sums.guess_pct) > 2
    union all
    -- just before the step stands for being outside, so that every shift has a beginning
    select
        steps.shift_no,
        steps.step_s - 1e-6 as time_s,
        shift_sums.first_position_s as next_s
    from steps
    inner join shift_sums on steps.shift_no = shift_sums.shift_no
    where shift_sums.positions > 0
),

absences as (
    select
        shift_no,
        next_s as entered_s,
        lead(time_s, 1, 1e300) over (partition by shift_no order by time_s) as next_outside_s
    from outside
),

arrivals as (
    -- few: only where the position then keeps inside for half a second
    select
        shift_no,
        min(entered_s) as arrived_s
    from absences
    where next_outside_s - entered_s > 0.5
    group by shift_no
),

target_moves as (
    -- the last time the target was elsewhere: what settled before then settled for another target
    select
        shift_positions.shift_no,
        max(shift_positions.time_s) as elsewhere_s
    from shift_positions
    inner join shift_sums on shift_positions.shift_no = shift_sums.shift_no
    where abs(shift_positions.target_pct - shift_sums.last_target_pct) > 1
    group by shift_positions.shift_no
),

plateaus as (
    select
        steps.shift_no,
        steps.run_no,
        steps.step_s,
        steps.until_s,
        steps.start_pct,
        steps.target_pct,
        greatest(
            steps.step_s + 1.5,
            arrivals.arrived_s + 0.5,
            target_moves.elsewhere_s,
            steps.until_s - 5
        ) as plateau_s
    from steps
    left join arrivals on steps.shift_no = arrivals.shift_no
    left join target_moves on steps.shift_no = target_moves.shift_no
),

settled as (
    select
        plateaus.shift_no,
        -- one list, so that the positions are put in order once
        quantile_cont(positions.position_pct, [0.025, 0.5, 0.975]) as quantiles_pct
    from positions
    inner join plateaus on positions.shift_no = plateaus.shift_no and positions.time_s >= plateaus.plateau_s
    group by plateaus.shift_no
),

known as (
    select
        plateaus.*,
        plateaus.until_s - plateaus.plateau_s as plateau_length_s,
        shift_sums.positions,
        shift_sums.first_pct,
        shift_sums.last_target_pct,
        shift_sums.positions >= 5 and shift_sums.lowest_pct = shift_sums.highest_pct as is_constant,
        settled.quantiles_pct[1] as low_pct,
        settled.quantiles_pct[2] as settled_pct,
        settled.quantiles_pct[3] as high_pct,
        channel_states.doubt
    from plateaus
    inner join shift_sums on plateaus.shift_no = shift_sums.shift_no
    left join settled on plateaus.shift_no = settled.shift_no
    left join channel_states
        on plateaus.run_no = channel_states.run_no and channel_states.channel = 'shift_position'
)

select
    shift_no,
    run_no,
    coalesce(start_pct, first_pct) as start_pct,
    last_target_pct as held_target_pct,
    case
        when positions = 0 then 'no position logged'
        when doubt = 'wrong unit' then 'position is not in % of travel'
        when doubt = 'swapped' then 'position moves before its target: the two are swapped'
        when doubt = 'impossible' then 'position jumps faster than an actuator moves'
        when doubt = 'stuck' then 'position stuck at an end of its range'
        when is_constant and (first_pct <= 0.01 or first_pct >= 99.99) then 'position stuck at an end of its range'
        when is_constant then 'position is a flat line'
        when settled_pct is null or plateau_length_s < 0.5 then 'plateau too short'
        when greatest(high_pct - settled_pct, settled_pct - low_pct) > 1 then 'never steady'
    end as why_null,
    case when why_null is null then settled_pct end as settled_pct,
    -- still though it had both the time and somewhere to go
    until_s - step_s >= 1.5 and is_constant and abs(first_pct - target_pct) > 5 as is_flat
from known
