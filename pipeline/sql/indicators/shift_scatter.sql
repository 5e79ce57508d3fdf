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
source = "MAD scaled by 1/Phi^-1(0.75) = 1.4826 for a normal spread; no limit set: take it from the maker"

[drift]
watch = 0.4
*/
with recent as (
    -- each run with itself and the nine before it
    select
        runs.engine_id,
        runs.run_id,
        earlier.run_id as earlier_run_id
    from focus.run_order as runs
    inner join focus.run_order as earlier
        on
            runs.engine_id = earlier.engine_id
            and earlier.run_no between runs.run_no - 9 and runs.run_no
)

select
    recent.engine_id,
    recent.run_id,
    shifts.to_gear as facet,
    -- DuckDB's mad() is unscaled
    1.4826 * mad(shifts.reach_error_pct) as value,
    count(*) as n
from recent
inner join focus.shifts on recent.earlier_run_id = shifts.run_id
where shifts.reach_error_pct is not null and shifts.to_gear is not null
group by
    recent.engine_id,
    recent.run_id,
    shifts.to_gear
having
    count(*) >= 8
    -- only a run that itself reached this gear has something new to say
    and count(*) filter (recent.run_id = recent.earlier_run_id) > 0
