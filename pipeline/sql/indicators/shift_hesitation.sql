/*
title = "Shift hesitation"
unit = "share of shifts"
decimals = 2
facet = "gear reached"
worse = "higher"
kind = "share"
resolution = 0.2
meaning = "Share of the run's shifts that stood still part-way for 0.15 s or more (dog teeth meeting tip to tip)."
minimum_n = 3
caveat = "Now and then is normal, often is not. Not judged where the position is logged slower than 10 Hz."
do = "Look at the dogs and the shift shaft; check that idle speed at engagement is not too high."
rests_on = { any = ["shift_position", "shift_target"] }
source = "common practice, no published source; no limit set: take it from the maker"

[drift]
watch = 0.2
*/
select
    engine_id,
    run_id,
    to_gear as facet,
    avg((hesitation_s >= 0.15)::integer) as value,
    count(*) as n
from focus.shifts
where hesitation_s is not null and to_gear is not null
group by
    engine_id,
    run_id,
    to_gear
