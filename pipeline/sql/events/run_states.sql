/*
title = "Run states"
what = """How warm each run started, and the extremes of its channels. A start below 40 C is cold; hot comes five
minutes later, one minute where it started at 55 C or more. Judged by coolant, oil where coolant is not logged."""
reads = ["run_spans", "timeline"]
*/
with seen as (
    -- the one pass over the samples that looks at every channel
    select
        run_no,
        -- chosen once for the run: a slow coolant channel may be blank in the first samples
        coalesce(arg_min(coolant_temp, time_s), arg_min(oil_temp, time_s)) as start_temp_c,
        coalesce(max(coolant_temp), max(oil_temp)) as max_temp_c,
        min(engine_hours) as first_hours,
        max(engine_hours) as last_hours,
        count(*) as samples,
        max(rpm) as rpm_max,
        min(rpm) as rpm_min,
        [
            {'channel': 'rpm', 'n': count(rpm), 'low': min(rpm), 'high': max(rpm), 'mean': avg(rpm)},
            {'channel': 'shift_position', 'n': count(shift_position), 'low': min(shift_position), 'high': max(shift_position), 'mean': avg(shift_position)},
            {'channel': 'battery', 'n': count(battery), 'low': min(battery), 'high': max(battery), 'mean': avg(battery)},
            {'channel': 'coolant_temp', 'n': count(coolant_temp), 'low': min(coolant_temp), 'high': max(coolant_temp), 'mean': avg(coolant_temp)},
            {'channel': 'oil_temp', 'n': count(oil_temp), 'low': min(oil_temp), 'high': max(oil_temp), 'mean': avg(oil_temp)},
            {'channel': 'oil_pressure', 'n': count(oil_pressure), 'low': min(oil_pressure), 'high': max(oil_pressure), 'mean': avg(oil_pressure)},
            {'channel': 'lambda', 'n': count("lambda"), 'low': min("lambda"), 'high': max("lambda"), 'mean': avg("lambda")},
            {'channel': 'idle_integral', 'n': count(idle_integral), 'low': min(idle_integral), 'high': max(idle_integral), 'mean': avg(idle_integral)},
            {'channel': 'fuel_trim', 'n': count(fuel_trim), 'low': min(fuel_trim), 'high': max(fuel_trim), 'mean': avg(fuel_trim)}
        ] as channels
    from timeline
    where is_turning
    group by run_no
)

select
    run_spans.started_s,
    run_spans.ended_s,
    run_spans.rpm_dropouts,
    seen.*,
    coalesce(seen.start_temp_c < 40, false) as is_cold_start,
    case when seen.start_temp_c >= 55 then 60 else 300 end as hot_after_s
from run_spans
inner join seen on run_spans.run_no = seen.run_no
