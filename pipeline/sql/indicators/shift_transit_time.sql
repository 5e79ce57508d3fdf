/*
title = "Shift transit time"
unit = "s"
decimals = 2
facet = "gear reached"
worse = "higher"
resolution = 0.05
meaning = "From the step of the target until the position first stays within 2 % of travel of where it settles: the median of the run's shifts from or to neutral."
covariates = ["temp_c", "battery_v"]
minimum_n = 3
caveat = "A throw straight through neutral is listed with the shifts but not counted. Low voltage and cold grease slow an actuator that is not worn. One sample of log rate is the resolution."
do = "Compare with the battery voltage and the temperature of those shifts, then inspect the actuator and its linkage."
rests_on = { any = ["shift_position", "shift_target", "battery", "oil_temp"] }
source = "definition after IEEE Std 181 (settling into a stated band); no limit set: take it from the maker"

[drift]
watch = 0.25
is_share = true

[priors]
temp_c = [-0.001, 0.002]
battery_v = [-0.03, 0.03]
*/
select
    engine_id,
    run_id,
    to_gear as facet,
    median(transit_s) as value,
    count(*) as n,
    avg(temp_c) as temp_c,
    avg(battery_v) as battery_v
from focus.shifts
where
    transit_s is not null
    and to_gear is not null
    and from_gear is not null
    -- a throw straight through neutral travels twice as far: listed, not counted
    and (from_gear = 'neutral' or to_gear = 'neutral')
    -- nor is its second half, where the lever did not wait in neutral for the actuator
    and coalesce(abs(start_pct - from_target_pct) < 0.25 * abs(target_pct - from_target_pct), true)
group by
    engine_id,
    run_id,
    to_gear
