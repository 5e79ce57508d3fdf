/*
title = "Battery at idle"
unit = "V"
decimals = 1
facet = "none"
worse = "lower"
resolution = 0.1
meaning = "Median battery voltage of the idle windows."
minimum_n = 2
caveat = "Says nothing about the voltage while shifting."
do = "Test the battery and the charging circuit."
rests_on = { any = ["battery", "rpm", "rpm_target"] }
source = "no limit set: the engine maker's limits belong in the fleet file"

[drift]
watch = 0.6
*/
select
    engine_id,
    run_id,
    '' as facet,
    median(battery_v) as value,
    count(*) as n
from focus.idle_windows
where battery_v is not null
group by
    engine_id,
    run_id
