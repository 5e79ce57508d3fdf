/*
title = "Coolant, hot"
unit = "°C"
decimals = 0
facet = "none"
worse = "higher"
resolution = 1.0
meaning = "Median coolant temperature of the hot idle windows."
minimum_n = 2
caveat = "Only windows that count as hot."
do = "Check the cooling water flow and the thermostat."
rests_on = { any = ["coolant_temp", "rpm", "rpm_target"] }
source = "no limit set: the engine maker's limits belong in the fleet file"

[drift]
watch = 8.0
*/
select
    engine_id,
    run_id,
    '' as facet,
    median(coolant_c) as value,
    count(*) as n
from focus.idle_windows
where coolant_c is not null and thermal = 'hot'
group by
    engine_id,
    run_id
