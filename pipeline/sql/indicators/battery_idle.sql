/*
title = "Battery at idle"
unit = "V"
decimals = 1
facet = "none"
worse = "lower"
meaning = "Median battery voltage of the idle windows."
covariates = ["temp_c"]
minimum_n = 2
caveat = "Says nothing about the voltage while shifting."
do = "Test the battery and the charging circuit."
source = "no limit set: the engine maker's limits belong in the fleet file"
*/
select
    engine_id,
    run_id,
    '' as facet,
    median(battery_v) as value,
    count(*) as n,
    avg(temp_c) as temp_c
from focus.idle_windows
where battery_v is not null
group by
    engine_id,
    run_id
