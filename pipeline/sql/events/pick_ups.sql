/*
title = "Pick-ups"
what = """Just off idle: stretches of at least 1 s in neutral with the helm opened and rpm at or below 1300."""

[columns]
duration_s = "length of the stretch"
lean_lambda = "largest lean excursion of lambda over its target, as the mean of half a second; null without lambda"
samples = "lambda samples in the stretch"
*/
with opened as (
    select
        time_s,
        started_s,
        coalesce(
            gear = 0
            and not is_at_rest
            and rpm <= 1300
            and started_s is not null
            and (step_s is null or time_s - step_s > 2),
            false
        ) as is_open
    from timeline
),

marked as (
    select
        time_s,
        started_s,
        is_open,
        is_open and not coalesce(lag(is_open) over () and lag(started_s) over () = started_s, false) as is_first
    from opened
),

numbered as (
    select
        time_s,
        started_s,
        case
            when is_open then last_value(case when is_first then time_s end ignore nulls)
                over (rows between unbounded preceding and current row)
        end as open_s
    from marked
),

halves as (
    select
        numbered.open_s,
        any_value(numbered.started_s) as started_s,
        floor((numbered.time_s - numbered.open_s) * 2) as half_no,
        max(numbered.time_s) as to_s,
        avg(samples."lambda" - samples.lambda_target) as lean_lambda,
        count(samples."lambda" - samples.lambda_target) as samples
    from numbered
    positional join samples
    where numbered.open_s is not null
    group by
        numbered.open_s,
        floor((numbered.time_s - numbered.open_s) * 2)
),

ended as (
    select
        *,
        max(to_s) over (partition by open_s) as end_s
    from halves
)

select
    any_value(started_s) as run_s,
    open_s as start_s,
    any_value(end_s) - open_s as duration_s,
    -- what is left at the end is no half second: a sample or two would be taken for their mean
    max(lean_lambda) filter (open_s + half_no / 2 + 0.4 <= end_s)::double as lean_lambda,
    sum(samples)::integer as samples
from ended
where end_s - open_s >= 1
group by open_s
