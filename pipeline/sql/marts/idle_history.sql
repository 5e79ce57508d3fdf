/*
title = "Idle history"
what = """The idle windows with an integral of one engine's newest runs. Parameters: the engine, how many runs, the runs whose
integral is withheld, and the moment after which nothing is used."""
reads = ["events.runs", "events.idle_windows", "marts.logs"]

[columns]
run_s = "start of the run, seconds since 1970"
temp_c = "mean oil temperature, coolant where oil is not logged: the axis of the table"
is_unsettled = "the loop had not re-converged: the integral tells something, but less"
*/
with newest as (
    select
        runs.run_id,
        runs.started_at
    from events.runs
    inner join marts.logs on runs.log_id = logs.log_id
    where
        runs.engine_id = $engine_id
        and logs.ended_at <= $as_of
        and not list_contains($withheld::varchar [], runs.run_id)
    order by runs.started_at desc
    limit $runs
)

select
    idle_windows.run_id,
    epoch(newest.started_at) as run_s,
    idle_windows.gear,
    idle_windows.temp_c,
    idle_windows.integral_pct,
    idle_windows.is_unsettled
from newest
inner join events.idle_windows on newest.run_id = idle_windows.run_id
where
    idle_windows.gear is not null
    and idle_windows.temp_c is not null
    and idle_windows.integral_pct is not null
order by
    newest.started_at,
    idle_windows.started_at
