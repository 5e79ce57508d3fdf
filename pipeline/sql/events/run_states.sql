/*
title = "Run states"
what = """How warm each run started and became, and how fast it turned. A start below 40 C is cold; hot comes five
minutes later, one minute where it started at 55 C or more. Judged by coolant, oil where coolant is not logged."""
reads = ["run_spans", "timeline"]
*/
with seen as (
    select
        run_no,
        -- chosen once for the run: a slow coolant channel may be blank in the first samples; any_value is the first that
        -- is not blank, as rows come in the order of time
        coalesce(any_value(coolant_temp), any_value(oil_temp)) as start_temp_c,
        coalesce(max(coolant_temp), max(oil_temp)) as max_temp_c,
        min(engine_hours) as first_hours,
        max(engine_hours) as last_hours,
        count(*) as samples,
        max(rpm) as rpm_max,
        min(rpm) as rpm_min
    from timeline
    where is_turning
    group by run_no
)

select
    run_spans.started_s,
    run_spans.ended_s,
    run_spans.rpm_dropouts,
    seen.*,
    coalesce(seen.start_temp_c < 40, false) as is_cold_start,
    case when seen.start_temp_c >= 55 then 60 else 300 end as hot_after_s
from run_spans
inner join seen on run_spans.run_no = seen.run_no
