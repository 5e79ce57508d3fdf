/*
title = "Run spans"
what = """Start and end of each run: rpm above 200 without a hole in the log of more than 10 s."""
reads = ["edges", "samples"]
*/
with starts as (
    select
        time_s as started_s,
        row_number() over (order by time_s) as start_no
    from edges
    where is_turning and (not was_turning or is_after_hole)
),

ends as (
    select
        previous_time_s as ended_s,
        row_number() over (order by time_s) as end_no
    from edges
    where was_turning and (not is_turning or is_after_hole)
    union all
    -- an engine still turning in the last sample ends its run there
    select
        max(time_s) as ended_s,
        9007199254740991 as end_no
    from samples
),

stretches as (
    select
        starts.started_s,
        coalesce(ends.ended_s, (select max(time_s) from samples)) as ended_s
    from starts
    left join ends on starts.start_no = ends.end_no
),

joined as (
    -- crankshaft inertia forbids a stop and restart inside half a second: that is a lost sensor reading, not a stop
    select
        started_s,
        ended_s,
        sum(case when started_s - previous_end_s < 0.5 then 0 else 1 end) over (order by started_s) as run_no
    from (
        select
            started_s,
            ended_s,
            lag(ended_s) over (order by started_s) as previous_end_s
        from stretches
    )
)

select
    run_no,
    min(started_s) as started_s,
    max(ended_s) as ended_s,
    count(*) - 1 as rpm_dropouts
from joined
group by run_no
order by run_no
