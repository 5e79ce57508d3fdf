/*
title = "logs"
what = """Every log taken and every file refused, up to a moment; a refused file has no time and is always listed."""
*/
select
    logs.log_id as log,
    logs.file,
    logs.boat,
    logs.started_at,
    logs.seconds,
    logs.rows,
    logs.status,
    logs.reason,
    logs.line,
    logs.rows_dropped,
    logs.is_start_assumed
from marts.logs
where logs.ended_at is null or logs.ended_at <= $as_of
order by
    logs.file
