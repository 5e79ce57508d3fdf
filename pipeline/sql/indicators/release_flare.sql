/*
title = "Release flare"
unit = "rpm"
decimals = 0
facet = "gear left"
worse = "higher"
resolution = 1.0
meaning = "How far speed rises above its target within 3 s of leaving gear with the helm at rest: the median of the run's releases."
covariates = ["temp_c"]
minimum_n = 3
caveat = "A small flare is wanted. Needs the idle target in the log."
do = "Check the in-gear add-on of the feed-forward table."
rests_on = { any = ["rpm", "rpm_target"] }
source = "common practice, no published source; no limit set: take it from the maker"

[drift]
watch = 50.0

[priors]
temp_c = [0.0, 0.5]
*/
select
    engine_id,
    run_id,
    from_gear as facet,
    median(flare_rpm) as value,
    count(*) as n,
    avg(temp_c) as temp_c
from focus.shifts
where flare_rpm is not null and to_gear = 'neutral' and from_gear in ('forward', 'reverse')
group by
    engine_id,
    run_id,
    from_gear
