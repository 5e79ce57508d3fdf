/*
title = "Oil pressure, hot"
unit = "kPa"
decimals = 0
facet = "none"
worse = "lower"
resolution = 5.0
meaning = "Median oil pressure of the hot idle windows."
covariates = ["temp_c"]
minimum_n = 2
caveat = "Only windows that count as hot."
do = "Check the oil level and grade, then the pressure with a gauge."
rests_on = { any = ["oil_pressure", "oil_temp", "coolant_temp", "rpm", "rpm_target"] }
source = "no limit set: the engine maker's limits belong in the fleet file"

[drift]
watch = 0.2
is_share = true

[priors]
temp_c = [-2.0, 2.0]
*/
select
    engine_id,
    run_id,
    '' as facet,
    median(oil_kpa) as value,
    count(*) as n,
    avg(temp_c) as temp_c
from focus.idle_windows
where oil_kpa is not null and thermal = 'hot'
group by
    engine_id,
    run_id
