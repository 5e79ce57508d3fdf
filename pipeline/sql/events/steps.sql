/*
title = "Shift steps"
what = """Each moment the shift target moves by more than 5 % of travel while the engine runs; without a target, each
change of the gear asked for. Moves one way within 0.25 s of one another are one step (a target that ramps, or a resampled
log)."""
reads = ["stretches", "run_spans"]
*/
with moves as (
    select
        from_s as time_s,
        previous_target,
        shift_target,
        gear,
        previous_gear,
        previous_position_pct,
        coalesce(sign(shift_target - previous_target), sign(gear - previous_gear)) as direction
    from stretches
    where is_target_move or (shift_target is null and gear <> previous_gear)
),

followed as (
    select
        *,
        coalesce(
            time_s - lag(time_s) over (order by time_s) <= 0.25 and direction = lag(direction) over (order by time_s),
            false
        ) as is_same_move
    from moves
),

numbered as (
    select
        *,
        sum(case when is_same_move then 0 else 1 end) over (order by time_s) as move_no
    from followed
),

whole_moves as (
    select
        min(time_s) as step_s,
        arg_min(previous_target, time_s) as from_target_pct,
        arg_max(shift_target, time_s) as target_pct,
        arg_min(previous_gear, time_s) as previous_gear,
        arg_min(previous_position_pct, time_s) as start_pct
    from numbered
    group by move_no
)

select
    row_number() over (order by whole_moves.step_s)::integer as shift_no,
    run_spans.run_no,
    whole_moves.step_s,
    -- a shift lasts until the next one or the run's end; the sample at the next step is not part of it
    coalesce(
        lead(whole_moves.step_s) over (partition by run_spans.run_no order by whole_moves.step_s),
        run_spans.ended_s
    ) as until_s,
    whole_moves.from_target_pct,
    whole_moves.target_pct,
    whole_moves.start_pct,
    whole_moves.previous_gear
from whole_moves
inner join run_spans on whole_moves.step_s > run_spans.started_s and whole_moves.step_s <= run_spans.ended_s
where
    abs(whole_moves.target_pct - whole_moves.from_target_pct) > 5
    or whole_moves.target_pct is null
order by whole_moves.step_s
