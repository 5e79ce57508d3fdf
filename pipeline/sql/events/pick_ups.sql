/*
title = "Pick-ups"
what = """Just off idle: stretches of at least 1 s in neutral with the helm opened and rpm at or below 1300, not in
the first 10 s of a run."""

[columns]
duration_s = "length of the stretch"
lean_lambda = "largest lean excursion of lambda over its target, as the mean of half a second; null without lambda"
samples = "lambda samples in the stretch"
*/
with opened as (
    select
        started_s,
        lift_no,
        time_s,
        "lambda" - lambda_target as lean_lambda,
        min(time_s) over (partition by lift_no) as open_s
    from timeline
    where
        lift_no is not null
        and coalesce(time_s - step_s > 2, true)
        -- the flare of starting looks like a lift to an idle loop that is not active yet
        and time_s - started_s > 10
),

halves as (
    select
        open_s,
        any_value(started_s) as run_s,
        floor((time_s - open_s) * 2) as half_no,
        max(time_s) as to_s,
        avg(lean_lambda) as lean_lambda,
        count(lean_lambda) as samples
    from opened
    group by
        open_s,
        floor((time_s - open_s) * 2)
),

ended as (
    select
        *,
        max(to_s) over (partition by open_s) as end_s
    from halves
)

select
    any_value(run_s) as run_s,
    open_s as start_s,
    any_value(end_s) - open_s as duration_s,
    -- what is left at the end is no half second: a sample or two would be taken for their mean
    max(lean_lambda) filter (open_s + half_no / 2 + 0.4 <= end_s)::double as lean_lambda,
    sum(samples)::integer as samples
from ended
where end_s - open_s >= 1
group by open_s
