/*
title = "Idle fuel trim"
unit = "%"
decimals = 1
facet = "cold or hot"
worse = "away"
resolution = 0.1
meaning = "Mean correction of the closed lambda loop in idle windows, weighted by their length, cold (first five minutes of a cold start) and hot apart."
covariates = ["temp_c"]
minimum_n = 2
caveat = "Cold and hot differ and cannot both be right: correct the table by the middle of the two. What moves on all engines on one day is fuel or weather."
do = "Look at injectors, fuel pressure, air leaks and the lambda sensor; correct the table by the middle of cold and hot only after that."
rests_on = { any = ["fuel_trim", "lambda", "rpm", "rpm_target", "oil_temp", "coolant_temp"] }
source = "limits: common practice, no published source (within 5 % good, beyond 10 % wrong somewhere)"

[limits]
watch = 5.0
hold = 10.0

[drift]
watch = 4.0

[priors]
temp_c = [0.0, 0.05]
*/
select
    engine_id,
    run_id,
    thermal as facet,
    sum(fuel_trim_pct * duration_s) / sum(duration_s) as value,
    count(*) as n,
    avg(temp_c) as temp_c
from focus.idle_windows
where fuel_trim_pct is not null and thermal in ('cold', 'hot')
group by
    engine_id,
    run_id,
    thermal
