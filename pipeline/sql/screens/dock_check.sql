/*
title = "What the newest logs show of a dock check"
what = """One row an engine, run and thing seen in its newest logs up to a moment, and how often; an engine whose logs show
nothing has one row without a thing. Parameters: the moment, how many of each engine's newest logs, and the file (null: any)."""
reads = ["marts.engine_logs", "marts.logs", "events.runs", "marts.readings"]
*/
with placed as (
    select
        engine_logs.engine_id,
        engine_logs.log_id,
        engine_logs.started_at,
        row_number() over (
            partition by engine_logs.engine_id
            order by engine_logs.started_at desc
        ) as place
    from marts.engine_logs
    inner join marts.logs on engine_logs.log_id = logs.log_id
    where logs.ended_at <= $as_of and ($file is null or logs.file = $file)
),

newest as (
    select
        placed.engine_id,
        placed.log_id,
        placed.started_at
    from placed
    where placed.place <= $logs
),

engines as (
    select
        newest.engine_id,
        max(newest.started_at) as newest_at
    from newest
    group by newest.engine_id
),

seen as (
    select
        newest.engine_id,
        runs.run_id,
        readings.facet as thing,
        readings.value as times
    from newest
    inner join events.runs on newest.engine_id = runs.engine_id and newest.log_id = runs.log_id
    inner join marts.readings on runs.run_id = readings.run_id and runs.engine_id = readings.engine_id
    where readings.indicator = 'evidence'
)

select
    engines.engine_id,
    epoch(engines.newest_at) as newest_s,
    seen.run_id,
    seen.thing,
    seen.times
from engines
left join seen on engines.engine_id = seen.engine_id
order by
    engines.engine_id,
    seen.thing
