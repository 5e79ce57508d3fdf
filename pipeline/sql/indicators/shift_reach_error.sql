/*
title = "Shift reach error"
unit = "% of travel"
decimals = 2
facet = "gear reached"
worse = "away"
resolution = 0.1
meaning = "Settled shift position minus the target then in force, signed: the median of the run's shifts into that gear."
covariates = ["temp_c", "battery_v"]
minimum_n = 3
caveat = "A shift whose plateau is too short or never steady, or whose position signal is faulty, does not count."
do = "Inspect the actuator, its linkage and this gear's stop; re-set a target only for a mismatch that has been constant over several repeats."
rests_on = { any = ["shift_position", "shift_target"] }
source = "limits: common practice, no published source (within 1 % good, to 2 % inside the system's tolerance, beyond 2 % the actuator drives against something it cannot reach)"

[limits]
watch = 1.0
hold = 2.0

[drift]
watch = 0.8

[priors]
temp_c = [0.0, 0.01]
battery_v = [0.0, 0.1]
*/
select
    engine_id,
    run_id,
    to_gear as facet,
    median(reach_error_pct) as value,
    count(*) as n,
    avg(temp_c) as temp_c,
    avg(battery_v) as battery_v,
    -- a target that was re-set is a calibration change, not a fault: the season starts anew there
    median(target_pct) as setting
from focus.shifts
where reach_error_pct is not null and to_gear is not null
group by
    engine_id,
    run_id,
    to_gear
