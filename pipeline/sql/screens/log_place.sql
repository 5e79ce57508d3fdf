/*
title = "Where a log is"
what = """The samples of one engine in one log, its span, how many samples it has and which channels it holds, the newest log
first. Parameters: the engine, the file (null: every log), the moment, how many at most."""
reads = ["marts.engine_logs", "marts.logs"]
*/
select
    logs.log_id,
    logs.file,
    engine_logs.samples,
    epoch(engine_logs.started_at) as from_s,
    epoch(engine_logs.ended_at) as to_s,
    logs.rows,
    engine_logs.channels
from marts.engine_logs
inner join marts.logs on engine_logs.log_id = logs.log_id
where
    engine_logs.engine_id = $engine_id
    and logs.ended_at <= $as_of
    and ($file is null or logs.file = $file)
order by
    engine_logs.started_at desc
limit $most
