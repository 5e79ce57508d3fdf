/*
title = "Lean swing off idle"
unit = "lambda"
decimals = 3
facet = "none"
worse = "higher"
resolution = 0.005
meaning = "Largest lean excursion of lambda over its target, as the mean of half a second, between idle and 1300 rpm in neutral."
minimum_n = 1
caveat = "Needs lambda, its target and a slow lift in neutral."
do = "Check acceleration enrichment and the table cells just off idle."
rests_on = { any = ["lambda", "lambda_target", "rpm"] }
source = "common practice, no published source: lambda must not swing lean in the range used to leave a tight dock; no limit set: take it from the maker"

[drift]
watch = 0.05
*/
select
    engine_id,
    run_id,
    '' as facet,
    max(lean_lambda) as value,
    count(*) as n
from focus.pick_ups
where lean_lambda is not null
group by
    engine_id,
    run_id
