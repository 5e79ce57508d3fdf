/*
title = "Idle speed error"
unit = "rpm"
decimals = 0
facet = "gear"
worse = "away"
resolution = 1.0
meaning = "Mean speed minus its target in idle windows, weighted by their length."
covariates = ["temp_c"]
minimum_n = 2
caveat = "Needs the idle target in the log."
do = "Check that the idle loop is active and not at its limit; look at the throttle body."
rests_on = { any = ["rpm", "rpm_target"] }
source = "common practice, no published source; no limit set: take it from the maker"

[drift]
watch = 25.0

[priors]
temp_c = [0.0, 0.3]
*/
select
    engine_id,
    run_id,
    gear as facet,
    sum((rpm_mean - rpm_target) * duration_s) / sum(duration_s) as value,
    count(*) as n,
    avg(temp_c) as temp_c
from focus.idle_windows
where rpm_target is not null and gear is not null
group by
    engine_id,
    run_id,
    gear
