/*
title = "Run spans"
what = """Start and end of each run: rpm above 200 without a hole in the log of more than 10 s."""
reads = ["stretches"]
*/
with turning as (
    select
        from_s,
        to_s,
        gear,
        not was_turning or from_s - previous_s > 10 as is_start,
        lag(to_s) over (order by from_s) as turned_until_s
    from stretches
    where is_turning
),

numbered as (
    -- crankshaft inertia forbids a stop and restart inside half a second: that is a lost sensor reading, not a stop
    select
        *,
        sum(case when is_start and coalesce(from_s - turned_until_s >= 0.5, true) then 1 else 0 end)
            over (order by from_s) as run_no
    from turning
)

select
    run_no::integer as run_no,
    min(from_s) as started_s,
    max(to_s) as ended_s,
    arg_min(gear, from_s) as first_gear,
    count(*) filter (is_start) - 1 as rpm_dropouts
from numbered
group by run_no
order by run_no
