/*
title = "Run states"
what = """How warm each run started, and the extremes of its channels. A start below 40 C is cold; hot comes five
minutes later, one minute where it started at 55 C or more. Judged by coolant, oil where coolant is not logged."""
reads = ["run_spans", "samples", "timeline"]
*/
with seen as (
    -- the one pass over the samples that looks at every channel
    select
        timeline.started_s,
        -- chosen once for the run: a slow coolant channel may be blank in the first samples
        coalesce(arg_min(samples.coolant_temp, samples.time_s), arg_min(samples.oil_temp, samples.time_s)) as start_temp_c,
        coalesce(max(samples.coolant_temp), max(samples.oil_temp)) as max_temp_c,
        min(samples.engine_hours) as first_hours,
        max(samples.engine_hours) as last_hours,
        count(*) as samples,
        max(samples.rpm) as rpm_max,
        min(samples.rpm) as rpm_min,
        [
            {'channel': 'rpm', 'n': count(samples.rpm), 'low': min(samples.rpm), 'high': max(samples.rpm), 'mean': avg(samples.rpm)},
            {'channel': 'shift_position', 'n': count(samples.shift_position), 'low': min(samples.shift_position), 'high': max(samples.shift_position), 'mean': avg(samples.shift_position)},
            {'channel': 'battery', 'n': count(samples.battery), 'low': min(samples.battery), 'high': max(samples.battery), 'mean': avg(samples.battery)},
            {'channel': 'coolant_temp', 'n': count(samples.coolant_temp), 'low': min(samples.coolant_temp), 'high': max(samples.coolant_temp), 'mean': avg(samples.coolant_temp)},
            {'channel': 'oil_temp', 'n': count(samples.oil_temp), 'low': min(samples.oil_temp), 'high': max(samples.oil_temp), 'mean': avg(samples.oil_temp)},
            {'channel': 'oil_pressure', 'n': count(samples.oil_pressure), 'low': min(samples.oil_pressure), 'high': max(samples.oil_pressure), 'mean': avg(samples.oil_pressure)},
            {'channel': 'lambda', 'n': count(samples."lambda"), 'low': min(samples."lambda"), 'high': max(samples."lambda"), 'mean': avg(samples."lambda")},
            {'channel': 'idle_integral', 'n': count(samples.idle_integral), 'low': min(samples.idle_integral), 'high': max(samples.idle_integral), 'mean': avg(samples.idle_integral)},
            {'channel': 'fuel_trim', 'n': count(samples.fuel_trim), 'low': min(samples.fuel_trim), 'high': max(samples.fuel_trim), 'mean': avg(samples.fuel_trim)}
        ] as channels
    from timeline
    positional join samples
    where timeline.started_s is not null
    group by timeline.started_s
)

select
    run_spans.run_no,
    run_spans.ended_s,
    run_spans.rpm_dropouts,
    seen.*,
    coalesce(seen.start_temp_c < 40, false) as is_cold_start,
    case when seen.start_temp_c >= 55 then 60 else 300 end as hot_after_s
from run_spans
inner join seen on run_spans.started_s = seen.started_s
