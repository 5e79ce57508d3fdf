/*
title = "Logs for their screen"
what = """Every file of the inbox that a moment may know: taken logs that ended before it, and what was refused, which has no
time. Parameter: the moment."""
reads = ["marts.logs"]
*/
select
    logs.file,
    logs.boat,
    logs.status,
    logs.reason,
    logs.line,
    epoch(logs.started_at) as at_s,
    logs.seconds / 60 as minutes,
    logs.rows,
    logs.rows_dropped,
    logs.is_start_assumed,
    logs.engines,
    len(logs.copies) as copies
from marts.logs
where logs.ended_at is null or logs.ended_at <= $as_of
order by
    logs.started_at desc nulls first,
    logs.file
