/*
title = "Run names"
what = """The engine and the name of each run, and what to add to a time on the common axis for the real time."""
reads = ["pieces", "run_spans"]
*/
select
    run_spans.started_s as run_s,
    pieces.engine_id,
    pieces.shift_s,
    -- named after the log it began in too: logs without a clock can all seem to start at one moment
    pieces.engine_id || '@' || round((run_spans.started_s + pieces.shift_s) * 1000)::bigint
    || '~' || left(pieces.log_id, 6) as run_id
from run_spans
asof join pieces on run_spans.started_s >= pieces.from_s
