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
caveat = "Judged against its own baseline, not against zero. Needs windows of a summed weight of 8, spread over at least 15 C, whose slope is known to a standard error of 0.125, a quarter of what is watched. Neighbouring readings share most of their windows."
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
        look_back.earlier_run_id,
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
        temp_c - sum(weight * temp_c) over gears / sum(weight) over gears as off_c,
        integral_pct - sum(weight * integral_pct) over gears / sum(weight) over gears as off_pct
    from weighed
    window gears as (partition by engine_id, run_id, gear)
),

lines as (
    select
        engine_id,
        run_id,
        gear,
        sum(weight * off_c ** 2) as spread_c2,
        sum(weight * off_c * off_pct) / nullif(sum(weight * off_c ** 2), 0) as slope,
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
),

strays as (
    -- the windows of one run share its wind, load and helm: each run strays from the line as a whole
    select
        centred.engine_id,
        centred.run_id,
        centred.gear,
        sum(centred.weight) as weight,
        sum(centred.weight * centred.off_c) as lever_c,
        sum(centred.weight ** 2 * centred.off_c ** 2) as own_lever_c2,
        sum(centred.weight * (centred.off_pct - lines.slope * centred.off_c)) / sum(centred.weight) as stray_pct,
        sum(centred.weight * (centred.off_pct - lines.slope * centred.off_c) ** 2) as square_pct2
    from centred
    inner join
        lines on
        centred.engine_id = lines.engine_id
        and centred.run_id = lines.run_id
        and centred.gear = lines.gear
    group by
        centred.engine_id,
        centred.run_id,
        centred.gear,
        centred.earlier_run_id
),

errors as (
    -- variance of a sum of weights times offsets: those that a run has in common and those of single windows
    select
        engine_id,
        run_id,
        gear,
        sqrt(
            sum(stray_pct ** 2) / greatest(count(*) - 2, 1) * sum(lever_c ** 2)
            + sum(square_pct2 - weight * stray_pct ** 2) / sum(weight) * sum(own_lever_c2)
        ) as error_pct_c
    from strays
    group by
        engine_id,
        run_id,
        gear
)

select
    lines.engine_id,
    lines.run_id,
    lines.gear as facet,
    10 * lines.slope as value,
    lines.n,
    lines.temp_c
from lines
inner join errors on lines.engine_id = errors.engine_id and lines.run_id = errors.run_id and lines.gear = errors.gear
where
    -- a warm engine seldom in this gear tells its runs apart, not its temperatures
    10 * errors.error_pct_c <= 0.125 * lines.spread_c2
