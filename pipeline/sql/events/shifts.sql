/*
title = "Shifts"
what = """Every shift of the log: gears, target, settled position, reach error, transit, hesitation, dip and flare."""

[columns]
held_s = "from the step to the next one or the run's end"
from_gear = "gear before: reverse, neutral, forward; null where it cannot be told"
to_gear = "gear reached"
from_target_pct = "target before the step, % of travel"
target_pct = "target in force where the position settled, else the one after the step, % of travel, as logged"
start_pct = "position just before the step, % of travel"
settled_pct = "median position of the plateau, % of travel; null with why_null"
reach_error_pct = "settled minus target, % of travel; null with why_null"
transit_s = "from the step until the position first stays (0.5 s) within 2 % of the settled position; null with why_null"
hesitation_s = "longest stand-still part-way, s; 0 if none; null where the sampling is coarser than 0.1 s or transit is null"
overshoot_pct = "farthest beyond the settled position, % of the step (IEEE Std 181)"
dip_rpm = "engaging from rest: farthest below target within 3 s; null unless the helm stayed at rest"
flare_rpm = "farthest above target within 3 s of leaving gear; null unless the helm stayed at rest"
battery_v = "mean battery voltage in the first 2 s"
temp_c = "oil temperature, coolant where oil is not logged"
why_null = "why reach and transit are null"
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
    inner join shift_levels on positions.shift_no = shift_levels.shift_no
    where abs(positions.position_pct - shift_levels.settled_pct) > 2
    union all
    -- just before the step stands for being outside, so that every shift has a beginning
    select
        steps.shift_no,
        steps.step_s - 1e-6 as time_s,
        shift_sums.first_position_s as next_s
    from steps
    inner join shift_sums on steps.shift_no = shift_sums.shift_no
    inner join shift_levels on steps.shift_no = shift_levels.shift_no
    where shift_levels.settled_pct is not null
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

travels as (
    select
        steps.shift_no,
        shift_levels.start_pct,
        shift_levels.settled_pct,
        arrivals.arrived_s,
        greatest(arrivals.arrived_s, steps.step_s + 2) + 1 as swung_until_s
    from steps
    inner join shift_levels on steps.shift_no = shift_levels.shift_no
    left join arrivals on steps.shift_no = arrivals.shift_no
    where shift_levels.settled_pct is not null
),

swings as (
    -- past the settled position in the direction of travel
    select
        travels.shift_no,
        max((positions.position_pct - travels.settled_pct) * sign(travels.settled_pct - travels.start_pct)) as beyond_pct
    from positions
    inner join travels on positions.shift_no = travels.shift_no and positions.time_s <= travels.swung_until_s
    group by travels.shift_no
),

stillness as (
    -- stood still: for 0.15 s the position stays inside 1 % of travel
    select
        positions.shift_no,
        positions.time_s,
        min(positions.time_s) over lookback as since_s,
        max(positions.position_pct) over lookback - min(positions.position_pct) over lookback as moved_pct
    from positions
    inner join travels on positions.shift_no = travels.shift_no and positions.time_s < travels.arrived_s
    where
        abs(positions.position_pct - travels.start_pct) > 5
        and abs(positions.position_pct - travels.settled_pct) > 5
    window lookback as (
        partition by positions.shift_no order by positions.time_s range between 0.1500001 preceding and current row
    )
),

still as (
    select
        stillness.shift_no,
        stillness.time_s,
        stillness.since_s,
        coalesce(
            stillness.since_s <= lag(stillness.time_s) over (partition by stillness.shift_no order by stillness.time_s),
            false
        ) as goes_on
    from stillness
    inner join shift_sums on stillness.shift_no = shift_sums.shift_no
    -- half a sample of grace: the samples rarely fall exactly 0.15 s apart
    where stillness.moved_pct <= 1 and stillness.time_s - stillness.since_s >= 0.1500001 - 0.6 * shift_sums.position_step_s
),

stands as (
    select
        shift_no,
        time_s,
        since_s,
        sum(case when goes_on then 0 else 1 end) over (partition by shift_no order by time_s) as stand_no
    from still
),

stand_lengths as (
    select
        shift_no,
        stand_no,
        max(time_s) - min(since_s) as stand_s
    from stands
    group by
        shift_no,
        stand_no
),

hesitations as (
    select
        shift_no,
        max(stand_s) as hesitation_s
    from stand_lengths
    group by shift_no
),

geared as (
    select
        steps.*,
        shift_sums.* exclude (shift_no),
        run_spans.started_s,
        coalesce(
            lag(shift_sums.settled_gear) over (partition by steps.run_no order by steps.step_s),
            -- a lever may move a little before the target does, so the run's first gear is the safer witness
            run_spans.first_gear,
            steps.previous_gear
        ) as left_gear
    from steps
    inner join shift_sums on steps.shift_no = shift_sums.shift_no
    inner join run_spans on steps.run_no = run_spans.run_no
)

select
    geared.started_s as run_s,
    geared.step_s as start_s,
    geared.until_s - geared.step_s as held_s,
    gear_word(geared.left_gear) as from_gear,
    gear_word(geared.settled_gear) as to_gear,
    geared.from_target_pct::double as from_target_pct,
    coalesce(shift_levels.held_target_pct, geared.target_pct)::double as target_pct,
    shift_levels.start_pct::double as start_pct,
    shift_levels.settled_pct::double as settled_pct,
    (shift_levels.settled_pct - coalesce(shift_levels.held_target_pct, geared.target_pct))::double as reach_error_pct,
    case when shift_levels.settled_pct is not null then arrivals.arrived_s - geared.step_s end as transit_s,
    case
        when shift_levels.settled_pct is not null and geared.position_step_s <= 0.105
            then coalesce(hesitations.hesitation_s, 0)
    end as hesitation_s,
    case
        when abs(shift_levels.settled_pct - shift_levels.start_pct) > 5
            then greatest(0, swings.beyond_pct) / abs(shift_levels.settled_pct - shift_levels.start_pct) * 100
    end::double as overshoot_pct,
    case when geared.stayed_at_rest and geared.saw_three_seconds then geared.below_rpm end::double as dip_rpm,
    case when geared.stayed_at_rest and geared.saw_three_seconds then geared.above_rpm end::double as flare_rpm,
    geared.battery_v::double as battery_v,
    geared.temp_c::double as temp_c,
    shift_levels.why_null
from geared
left join shift_levels on geared.shift_no = shift_levels.shift_no
left join arrivals on geared.shift_no = arrivals.shift_no
left join swings on geared.shift_no = swings.shift_no
left join hesitations on geared.shift_no = hesitations.shift_no
