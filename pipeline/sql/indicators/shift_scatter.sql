/*
title = "Shift scatter"
unit = "% of travel"
decimals = 2
facet = "gear reached"
worse = "higher"
looks_back = true
resolution = 0.1
meaning = "Robust spread (1.4826 x median absolute deviation) of settled positions, taken against the target then in force, over this run and the nine before."
minimum_n = 8
caveat = "Against the target, so a re-set target is not scatter. Neighbouring readings share most of their shifts."
do = "Look for play in the linkage and its bushings, and for a worn position sensor."
rests_on = { any = ["shift_position", "shift_target"] }
source = "MAD scaled by 1/Phi^-1(0.75) = 1.4826 for a normal spread; no limit set: take it from the maker"

[drift]
watch = 0.4
*/
select
    look_back.engine_id,
    look_back.run_id,
    shifts.to_gear as facet,
    -- DuckDB's mad() is unscaled
    1.4826 * mad(shifts.reach_error_pct) as value,
    count(*) as n
from focus.look_back
inner join focus.shifts on look_back.earlier_run_id = shifts.run_id
where shifts.reach_error_pct is not null and shifts.to_gear is not null
group by
    look_back.engine_id,
    look_back.run_id,
    shifts.to_gear
having
    count(*) >= 8
    -- only a run that itself reached this gear has something new to say
    and count(*) filter (look_back.run_id = look_back.earlier_run_id) > 0
