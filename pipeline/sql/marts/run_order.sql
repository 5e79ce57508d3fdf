/*
title = "Run order"
what = """The runs whose readings are to be computed again, each engine's numbered in time, and the runs before them that
indicators may look back on. is_changed tells the first kind from the second."""
reads = ["events.runs", "focus.touched"]
*/
with numbered as (
    select
        runs.engine_id,
        runs.run_id,
        runs.started_at,
        runs.started_at >= touched.from_at as is_changed,
        row_number() over (partition by runs.engine_id order by runs.started_at) as run_no,
        count(*) filter (runs.started_at < touched.from_at) over (partition by runs.engine_id) as runs_before
    from events.runs
    inner join focus.touched on runs.engine_id = touched.engine_id
)

select
    engine_id,
    run_id,
    started_at,
    is_changed,
    run_no
from numbered
where run_no > runs_before - ?
