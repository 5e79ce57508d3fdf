/*
title = "Idle windows"
what = """Stretches of settled idle of at least 5 s, cut into pieces of 20 to 40 s so that a piece has one temperature."""

[columns]
duration_s = "length of the piece"
gear = "reverse, neutral, forward; null where it cannot be told"
temp_c = "mean oil temperature, coolant where oil is not logged"
state_temp_c = "mean coolant temperature, oil where coolant is not logged: judges cold, warm and hot"
coolant_c = "mean coolant temperature; null where not logged"
rpm_mean = "mean speed"
rpm_sd = "standard deviation of speed inside the piece"
rpm_target = "mean of the idle target"
integral_pct = "mean integral from 10 s after the shift or the helm closing; a shorter window gives its last half"
feedforward_pct = "mean table value of the idle controller; null where not logged"
is_unsettled = "true where integral_pct had to come from the last half of a short window"
fuel_trim_pct = "mean trim over closed-loop samples; null in open loop"
thermal = "cold, warming, hot; null without a temperature"
*/
with idle as (
    select *
    from timeline
    where window_no is not null and time_s - started_s > 20 and coalesce(time_s - step_s > 4, true)
),

spans as (
    select
        window_no,
        min(time_s) as from_s,
        max(time_s) as to_s,
        greatest(1, floor((max(time_s) - min(time_s)) / 20)) as pieces
    from idle
    group by window_no
    having max(time_s) - min(time_s) >= 5
),

pieced as (
    select
        idle.*,
        least(
            spans.pieces - 1,
            floor((idle.time_s - spans.from_s) / (spans.to_s - spans.from_s) * spans.pieces)
        ) as piece_no,
        (spans.from_s + spans.to_s) / 2 as half_s
    from idle
    inner join spans on idle.window_no = spans.window_no
),

measured as (
    select
        any_value(run_no) as run_no,
        any_value(gear) as gear,
        min(time_s) as from_s,
        max(time_s) as to_s,
        mean_of(oil_temp) as oil_c,
        mean_of(coolant_temp) as coolant_c,
        coalesce(oil_c, coolant_c) as temp_c,
        coalesce(coolant_c, oil_c) as state_temp_c,
        mean_of(rpm) as rpm_mean,
        stddev_samp(rpm) as rpm_sd,
        mean_of(rpm_target) as rpm_target,
        count(rpm) as samples,
        mean_of(case when time_s >= settled_from_s then idle_integral end) as settled_integral_pct,
        mean_of(idle_feedforward) as feedforward_pct,
        -- two seconds of settled loop are the least that make a mean
        max(time_s) - min(time_s) filter (time_s >= settled_from_s) >= 2 as is_settled,
        mean_of(case when time_s >= half_s then idle_integral end) as late_integral_pct,
        mean_of(case when fuel_closed_loop = 1 then fuel_trim end) as closed_trim_pct,
        count(fuel_closed_loop) as loop_samples,
        mean_of(fuel_trim) as plain_trim_pct,
        -- an open loop holds the trim at exactly zero
        bool_or(fuel_trim <> 0) as trim_moves,
        mean_of(battery) as battery_v,
        mean_of(oil_pressure) as oil_kpa
    from pieced
    group by
        window_no,
        piece_no
),

aged as (
    select
        measured.*,
        (measured.from_s + measured.to_s) / 2 - run_states.started_s as age_s,
        run_states.started_s,
        run_states.is_cold_start,
        run_states.hot_after_s
    from measured
    inner join run_states on measured.run_no = run_states.run_no
)

select
    aged.started_s as run_s,
    aged.from_s as start_s,
    aged.to_s - aged.from_s as duration_s,
    gear_word(aged.gear) as gear,
    aged.temp_c::double as temp_c,
    aged.state_temp_c::double as state_temp_c,
    aged.coolant_c::double as coolant_c,
    aged.rpm_mean::double as rpm_mean,
    aged.rpm_sd::double as rpm_sd,
    aged.rpm_target::double as rpm_target,
    aged.samples::integer as samples,
    case when aged.is_settled then aged.settled_integral_pct else aged.late_integral_pct end::double as integral_pct,
    aged.feedforward_pct::double as feedforward_pct,
    not coalesce(aged.is_settled, false) as is_unsettled,
    case
        when aged.loop_samples > 0 then aged.closed_trim_pct
        when aged.trim_moves then aged.plain_trim_pct
    end::double as fuel_trim_pct,
    case
        when aged.state_temp_c is null then null
        when aged.is_cold_start and aged.age_s < 300 then 'cold'
        when aged.age_s >= aged.hot_after_s and aged.state_temp_c >= 55 then 'hot'
        else 'warming'
    end as thermal,
    aged.battery_v::double as battery_v,
    aged.oil_kpa::double as oil_kpa
from aged
