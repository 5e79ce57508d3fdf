/*
title = "Engine records"
what = """What is known of each engine's logs up to a moment: the last log, its end, engine hours, runs, and which channels
any log has held. Parameter: the moment after which nothing is used."""
reads = ["marts.engine_logs", "marts.run_hours"]
*/
with logs as (
    select
        engine_id,
        max(ended_at) as last_log_at,
        count(*) as logs,
        flatten(list(channels)) as channels
    from marts.engine_logs
    where ended_at <= $as_of
    group by engine_id
),

runs as (
    select
        engine_id,
        count(*) as runs,
        max(ended_at) as last_run_at,
        -- the newest, not the highest: another engine in its place counts from nothing again
        arg_max(end_hours, started_at) as hours
    from run_hours
    group by engine_id
)

select
    logs.engine_id,
    logs.last_log_at,
    logs.logs,
    list_sort(list_distinct(logs.channels)) as channels,
    coalesce(runs.runs, 0) as runs,
    runs.last_run_at,
    runs.hours
from logs
left join runs on logs.engine_id = runs.engine_id
