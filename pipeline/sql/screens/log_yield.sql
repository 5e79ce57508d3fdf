/*
title = "What logs gave"
what = """One row a log and engine: its channels and how many runs, shifts and idle windows were found in it. A shift is counted
as measured where its reach error is known. Parameter: the file, or null for every log."""
reads = ["marts.engine_logs", "marts.logs", "events.runs", "events.shifts", "events.idle_windows"]
*/
with found as (
    select
        engine_logs.engine_id,
        engine_logs.log_id,
        engine_logs.channels,
        engine_logs.samples,
        logs.file,
        logs.started_at,
        logs.seconds,
        logs.rows
    from marts.engine_logs
    inner join marts.logs on engine_logs.log_id = logs.log_id
    where $file is null or logs.file = $file
)

select
    found.file,
    found.engine_id,
    found.channels,
    found.samples,
    epoch(found.started_at) as started_s,
    found.seconds,
    found.rows,
    (
        select count(*) from events.runs
        where runs.engine_id = found.engine_id and runs.log_id = found.log_id
    ) as runs,
    (
        select count(*) from events.shifts
        where shifts.engine_id = found.engine_id and shifts.log_id = found.log_id
    ) as shifts,
    (
        select count(*) from events.shifts
        where
            shifts.engine_id = found.engine_id
            and shifts.log_id = found.log_id
            and shifts.reach_error_pct is not null
    ) as shifts_measured,
    (
        select count(*) from events.idle_windows
        where idle_windows.engine_id = found.engine_id and idle_windows.log_id = found.log_id
    ) as idle_windows
from found
order by
    found.file,
    found.engine_id
