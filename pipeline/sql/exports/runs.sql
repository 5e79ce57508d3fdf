/*
title = "runs"
what = """Every run, up to a moment."""
*/
select
    split_part(runs.engine_id, '/', 1) as boat,
    split_part(runs.engine_id, '/', 2) as engine,
    logs.log_id as log,
    logs.file,
    runs.run_id,
    runs.started_at,
    runs.seconds,
    runs.is_cold_start,
    runs.start_temp_c,
    runs.max_temp_c,
    runs.rpm_max,
    runs.first_hours,
    runs.last_hours,
    runs.rpm_dropouts,
    runs.samples
from events.runs
inner join marts.logs on runs.log_id = logs.log_id
where logs.ended_at <= $as_of
order by
    runs.started_at,
    runs.engine_id
