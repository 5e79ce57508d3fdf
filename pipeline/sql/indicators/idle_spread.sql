/*
title = "Idle spread"
unit = "rpm"
decimals = 0
facet = "gear"
worse = "higher"
resolution = 1.0
meaning = "Standard deviation of speed inside idle windows, pooled over the run."
covariates = ["temp_c"]
minimum_n = 2
caveat = "Falls with a slower log: compare logs of one rate."
do = "Look at ignition, injectors and the idle loop's gains."
rests_on = { any = ["rpm", "rpm_target"] }
source = "pooled standard deviation; no limit set: take it from the maker"

[drift]
watch = 10.0

[priors]
temp_c = [0.0, 0.1]
*/
select
    engine_id,
    run_id,
    gear as facet,
    -- windows pooled by their variance, each weighted by its length
    sqrt(sum(rpm_sd * rpm_sd * duration_s) / sum(duration_s)) as value,
    count(*) as n,
    avg(temp_c) as temp_c
from focus.idle_windows
where rpm_sd is not null and gear is not null
group by
    engine_id,
    run_id,
    gear
