/*
title = "Idle integral"
unit = "%"
decimals = 1
facet = "gear"
worse = "away"
resolution = 0.1
meaning = "Mean slow correction of the idle loop in warm idle windows (55 C or more), weighted by their length; an unsettled window weighs a third."
covariates = ["temp_c"]
minimum_n = 2
caveat = "The integral is the error of the feed-forward table at that temperature and in that gear. Compare at like temperature only."
do = "Correct the feed-forward table there by the integral less what is wanted, once dirt, air leak and load are ruled out."
rests_on = { any = ["idle_integral", "rpm", "rpm_target", "oil_temp", "coolant_temp"] }
source = "wanted bands and limits: common practice, no published source (10 to 15 % beyond means the table is wrong there)"

[limits]
watch = 5.0
hold = 10.0

[wanted]
neutral = [-3.0, 0.0]
forward = [0.0, 3.0]
reverse = [0.0, 3.0]

[set_to]
neutral = -2.5
forward = 2.5
reverse = 2.5

[drift]
watch = 4.0

[priors]
temp_c = [0.0, 0.05]
*/
with weighed as (
    select
        engine_id,
        run_id,
        gear,
        integral_pct,
        temp_c,
        feedforward_pct,
        -- the loop has not re-converged in a short window: it tells something, but less
        duration_s * case when is_unsettled then 1.0 / 3 else 1 end as weight_s
    from focus.idle_windows
    where integral_pct is not null and gear is not null and state_temp_c >= 55
)

select
    engine_id,
    run_id,
    gear as facet,
    sum(integral_pct * weight_s) / sum(weight_s) as value,
    count(*) as n,
    sum(temp_c * weight_s) / sum(weight_s) as temp_c,
    -- a table cell that moved is a calibration change: the integral gives up what the cell gained
    sum(feedforward_pct * weight_s) / sum(weight_s) filter (feedforward_pct is not null) as setting
from weighed
group by
    engine_id,
    run_id,
    gear
