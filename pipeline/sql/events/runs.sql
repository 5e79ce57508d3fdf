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
*/
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
    run_states.samples::integer as samples
from run_states
