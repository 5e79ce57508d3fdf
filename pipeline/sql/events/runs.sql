/*
title = "Runs"
what = """Each stretch with the engine turning, with how warm it started and what it reached."""

[columns]
seconds = "length of the run"
is_cold_start = "started below 40 C"
start_temp_c = "coolant, or oil where coolant is not logged, at the start; null without a temperature"
max_temp_c = "warmest in the run"
rpm_max = "fastest in the run"
first_hours = "engine hour counter at the start; null where not logged"
last_hours = "engine hour counter at the end; null where not logged"
rpm_dropouts = "moments of lost speed signal shorter than half a second"
oil_first_c = "oil temperature in the first 30 s; coolant and air alike: what they were while the engine stood"
oil_high_c = "highest oil temperature; coolant and air alike"
oil_pressure_kpa = "mean oil pressure"
oil_pressure_high_kpa = "highest oil pressure"
trim_swept_pct = "how far the fuel trim moved in the run"
integral_swept_pct = "how far the idle integral moved in the run"
*/
with levels as (
    -- what tells a channel from itself in other runs, and one engine from another
    select
        run_no,
        max(first_mean) filter (channel = 'oil_temp') as oil_first_c,
        max(first_mean) filter (channel = 'coolant_temp') as coolant_first_c,
        max(first_mean) filter (channel = 'air_temp') as air_first_c,
        max(high) filter (channel = 'oil_temp') as oil_high_c,
        max(high) filter (channel = 'coolant_temp') as coolant_high_c,
        max(high) filter (channel = 'air_temp') as air_high_c,
        max(mean) filter (channel = 'oil_pressure') as oil_pressure_kpa,
        max(high) filter (channel = 'oil_pressure') as oil_pressure_high_kpa,
        max(high - low) filter (channel = 'fuel_trim') as trim_swept_pct,
        max(high - low) filter (channel = 'idle_integral') as integral_swept_pct
    from channel_states
    group by run_no
)

select
    run_states.started_s as run_s,
    run_states.started_s as start_s,
    run_states.ended_s - run_states.started_s as seconds,
    run_states.is_cold_start,
    run_states.start_temp_c::double as start_temp_c,
    run_states.max_temp_c::double as max_temp_c,
    run_states.rpm_max::double as rpm_max,
    run_states.first_hours::double as first_hours,
    run_states.last_hours::double as last_hours,
    run_states.rpm_dropouts::integer as rpm_dropouts,
    run_states.samples::integer as samples,
    levels.oil_first_c::double as oil_first_c,
    levels.coolant_first_c::double as coolant_first_c,
    levels.air_first_c::double as air_first_c,
    levels.oil_high_c::double as oil_high_c,
    levels.coolant_high_c::double as coolant_high_c,
    levels.air_high_c::double as air_high_c,
    levels.oil_pressure_kpa::double as oil_pressure_kpa,
    levels.oil_pressure_high_kpa::double as oil_pressure_high_kpa,
    levels.trim_swept_pct::double as trim_swept_pct,
    levels.integral_swept_pct::double as integral_swept_pct
from run_states
left join levels on run_states.run_no = levels.run_no
