/*
title = "Idle integral against temperature"
unit = "% per 10 °C"
decimals = 2
facet = "gear"
worse = "away"
looks_back = true
resolution = 0.05
meaning = "Weighted least-squares slope of the integral on oil temperature over the idle windows of this run and the nine before; an unsettled window weighs a third."
covariates = ["temp_c"]
minimum_n = 1
caveat = "Judged against its own baseline, not against zero. Needs windows of a summed weight of 8, spread over at least 15 C. Neighbouring readings share most of their windows."
do = "Compare the feed-forward table's rows with the integral at each temperature."
rests_on = { any = ["idle_integral", "rpm", "rpm_target", "oil_temp", "coolant_temp"] }
source = "common practice, no published source: a slope that was not there at commissioning is the drift to watch"

[limits]
watch = 0.5

[judged]
against = "baseline"
*/
with weighed as (
    select
        look_back.engine_id,
        look_back.run_id,
        idle_windows.gear,
        idle_windows.integral_pct,
        idle_windows.temp_c,
        -- the loop has not re-converged in a short window: it tells something, but less
        case when idle_windows.is_unsettled then 1.0 / 3 else 1.0 end as weight,
        look_back.run_id = look_back.earlier_run_id as is_own
    from focus.look_back
    inner join focus.idle_windows on look_back.earlier_run_id = idle_windows.run_id
    where
        idle_windows.integral_pct is not null
        and idle_windows.temp_c is not null
        and idle_windows.gear is not null
),

centred as (
    select
        *,
        sum(weight * temp_c) over gears / sum(weight) over gears as mean_temp_c,
        sum(weight * integral_pct) over gears / sum(weight) over gears as mean_integral_pct
    from weighed
    window gears as (partition by engine_id, run_id, gear)
)

select
    engine_id,
    run_id,
    gear as facet,
    10 * sum(weight * (temp_c - mean_temp_c) * (integral_pct - mean_integral_pct))
    / nullif(sum(weight * (temp_c - mean_temp_c) ** 2), 0) as value,
    count(*) as n,
    avg(temp_c) as temp_c
from centred
group by
    engine_id,
    run_id,
    gear
having
    -- thirds do not add up exactly
    sum(weight) >= 8 - 1e-9
    -- a slope from one temperature is noise
    and max(temp_c) - min(temp_c) >= 15
    -- only a run that itself idled in this gear has something new to say
    and count(*) filter (is_own) > 0
