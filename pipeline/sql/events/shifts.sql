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
with outside as (
    select
        shift_rows.shift_no,
        shift_rows.time_s
    from shift_rows
    inner join shift_levels on shift_rows.shift_no = shift_levels.shift_no
    where abs(shift_rows.position_pct - shift_levels.settled_pct) > 2
    union all
    -- just before the step stands for being outside, so that every shift has a beginning
    select
        steps.shift_no,
        steps.step_s - 1e-6 as time_s
    from steps
    inner join shift_levels on steps.shift_no = shift_levels.shift_no
    where shift_levels.settled_pct is not null
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

measured as (
    select
        shift_rows.*,
        arrivals.arrived_s,
        -- past the settled position in the direction of travel
        (shift_rows.position_pct - shift_levels.settled_pct) * sign(shift_levels.settled_pct - shift_levels.start_pct) as beyond_pct,
        shift_rows.time_s < arrivals.arrived_s
        and abs(shift_rows.position_pct - shift_levels.start_pct) > 5
        and abs(shift_rows.position_pct - shift_levels.settled_pct) > 5 as is_part_way
    from shift_rows
    inner join shift_levels on shift_rows.shift_no = shift_levels.shift_no
    left join arrivals on shift_rows.shift_no = arrivals.shift_no
),

stillness as (
    -- stood still: for 0.15 s the position stays inside 1 % of travel
    select
        shift_no,
        time_s,
        min(time_s) over lookback as since_s,
        max(position_pct) over lookback - min(position_pct) over lookback as moved_pct
    from measured
    where is_part_way and position_pct is not null
    window lookback as (partition by shift_no order by time_s range between 0.1500001 preceding and current row)
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
    inner join log_rate on stillness.shift_no = log_rate.shift_no
    -- half a sample of grace: the samples rarely fall exactly 0.15 s apart
    where stillness.moved_pct <= 1 and stillness.time_s - stillness.since_s >= 0.1500001 - 0.6 * log_rate.position_step_s
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

summed as (
    select
        shift_no,
        any_value(arrived_s) as arrived_s,
        max(beyond_pct) filter (time_s <= greatest(arrived_s, step_s + 2) + 1) as beyond_pct,
        avg(battery_v) filter (time_s <= step_s + 2) as battery_v,
        avg(temp_c) filter (time_s <= step_s + 2) as temp_c,
        -- a lever may move on a little before the target does, so the last sample is no witness
        coalesce(
            quantile_disc(gear, 0.5) filter (time_s >= (step_s + until_s) / 2),
            arg_max(gear, time_s)
        ) as settled_gear,
        max(rpm_target - rpm) filter (time_s <= step_s + 3) as below_rpm,
        max(rpm - rpm_target) filter (time_s <= step_s + 3) as above_rpm,
        coalesce(bool_and(is_at_rest) filter (time_s <= step_s + 3), false) as stayed_at_rest,
        max(time_s) >= step_s + 2.9 as saw_three_seconds
    from measured
    group by
        shift_no,
        step_s,
        until_s
),

geared as (
    select
        steps.*,
        summed.* exclude (shift_no),
        run_spans.started_s,
        coalesce(
            lag(summed.settled_gear) over (partition by steps.run_no order by steps.step_s),
            -- a lever may move a little before the target does, so the run's first gear is the safer witness
            first_gears.gear,
            steps.previous_gear
        ) as left_gear
    from steps
    inner join summed on steps.shift_no = summed.shift_no
    inner join run_spans on steps.run_no = run_spans.run_no
    left join first_gears on steps.run_no = first_gears.run_no
)

select
    geared.started_s as run_s,
    geared.step_s as start_s,
    geared.until_s - geared.step_s as held_s,
    gear_words.word as from_gear,
    settled_words.word as to_gear,
    geared.from_target_pct::double as from_target_pct,
    coalesce(shift_levels.held_target_pct, geared.target_pct)::double as target_pct,
    shift_levels.start_pct::double as start_pct,
    shift_levels.settled_pct::double as settled_pct,
    (shift_levels.settled_pct - coalesce(shift_levels.held_target_pct, geared.target_pct))::double as reach_error_pct,
    case when shift_levels.settled_pct is not null then geared.arrived_s - geared.step_s end as transit_s,
    case
        when shift_levels.settled_pct is not null and log_rate.position_step_s <= 0.105
            then coalesce(hesitations.hesitation_s, 0)
    end as hesitation_s,
    case
        when abs(shift_levels.settled_pct - shift_levels.start_pct) > 5
            then greatest(0, geared.beyond_pct) / abs(shift_levels.settled_pct - shift_levels.start_pct) * 100
    end::double as overshoot_pct,
    case when geared.stayed_at_rest and geared.saw_three_seconds then geared.below_rpm end::double as dip_rpm,
    case when geared.stayed_at_rest and geared.saw_three_seconds then geared.above_rpm end::double as flare_rpm,
    geared.battery_v::double as battery_v,
    geared.temp_c::double as temp_c,
    shift_levels.why_null
from geared
left join log_rate on geared.shift_no = log_rate.shift_no
left join shift_levels on geared.shift_no = shift_levels.shift_no
left join hesitations on geared.shift_no = hesitations.shift_no
left join gear_words on geared.left_gear = gear_words.code
left join gear_words as settled_words on geared.settled_gear = settled_words.code
