/*
title = "Engagement dip"
unit = "rpm"
decimals = 0
facet = "gear engaged"
worse = "higher"
resolution = 1.0
meaning = "How far speed falls below its target within 3 s of going into gear with the helm at rest: the median of the run's engagements."
covariates = ["temp_c"]
minimum_n = 3
caveat = "Needs the idle target in the log."
do = "Check the in-gear add-on of the feed-forward table and the propeller."
rests_on = { any = ["rpm", "rpm_target"] }
source = "common practice, no published source: a clunk or a stall is not wanted; no limit set: take it from the maker"

[drift]
watch = 50.0

[priors]
temp_c = [0.0, 0.5]
*/
select
    engine_id,
    run_id,
    to_gear as facet,
    median(dip_rpm) as value,
    count(*) as n,
    avg(temp_c) as temp_c
from focus.shifts
where dip_rpm is not null and from_gear = 'neutral' and to_gear in ('forward', 'reverse')
group by
    engine_id,
    run_id,
    to_gear
