/*
title = "What the logs of an engine show"
what = """One row a run and thing seen in it, of the newest logs of one engine up to a moment; a log that shows nothing has
one row without a thing. Parameters: the engine, the moment, how many logs."""
reads = ["marts.engine_logs", "marts.logs", "events.runs", "marts.readings"]
*/
with newest as (
    select
        engine_logs.log_id,
        logs.file,
        engine_logs.started_at
    from marts.engine_logs
    inner join marts.logs on engine_logs.log_id = logs.log_id
    where engine_logs.engine_id = $engine_id and logs.ended_at <= $as_of
    order by engine_logs.started_at desc
    limit $logs
),

seen as (
    select
        runs.log_id,
        runs.run_id,
        readings.facet as thing,
        readings.value as times
    from marts.readings
    inner join events.runs on readings.run_id = runs.run_id
    where readings.engine_id = $engine_id and readings.indicator = 'evidence'
)

select
    epoch(newest.started_at) as at_s,
    newest.log_id,
    newest.file,
    seen.run_id,
    seen.thing,
    seen.times
from newest
left join seen on newest.log_id = seen.log_id
order by
    newest.started_at,
    seen.thing
