/*
title = "Idle integral against temperature"
unit = "% per 10 °C"
decimals = 2
facet = "gear"
worse = "away"
looks_back = true
resolution = 0.05
meaning = "Least-squares slope of the integral on oil temperature over the settled idle windows of this run and the nine before."
covariates = ["temp_c"]
minimum_n = 1
caveat = "Judged against its own baseline, not against zero. Needs 8 windows spread over at least 15 C. Neighbouring readings share most of their windows."
do = "Compare the feed-forward table's rows with the integral at each temperature."
source = "common practice, no published source: a slope that was not there at commissioning is the drift to watch"

[limits]
watch = 0.5

[judged]
against = "baseline"
*/
with recent as (
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
    idle_windows.gear as facet,
    regr_slope(idle_windows.integral_pct, idle_windows.temp_c) * 10 as value,
    count(*) as n,
    avg(idle_windows.temp_c) as temp_c
from recent
inner join focus.idle_windows on recent.earlier_run_id = idle_windows.run_id
where
    idle_windows.integral_pct is not null
    and idle_windows.temp_c is not null
    and idle_windows.gear is not null
    and not idle_windows.is_unsettled
group by
    recent.engine_id,
    recent.run_id,
    idle_windows.gear
having
    count(*) >= 8
    -- a slope from one temperature is noise
    and max(idle_windows.temp_c) - min(idle_windows.temp_c) >= 15
    and count(*) filter (recent.run_id = recent.earlier_run_id) > 0
