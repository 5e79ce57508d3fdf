/*
title = "Stalls"
what = """The engine dying: rpm below 100 within 5 s of going into gear; or within 5 s of leaving gear, or from idle, with
a restart in the same log within 60 s. Stopping at the end of a log is none."""

[columns]
started_at = "the moment rpm fell below 100"
gear = "gear in force; null where it cannot be told"
how = "shift or idle"
restart_s = "seconds until the engine turned again; null where it did not in this log"
*/
with falls as (
    select
        run_no,
        started_s,
        min(time_s) filter (time_s > ended_s and rpm < 100) as fell_s,
        arg_max(gear, time_s) filter (is_turning) as gear,
        max(step_s) filter (is_turning) as step_s,
        -- idle: helm at rest all through the last two seconds, and never above the idle range in them
        bool_and(coalesce(is_at_rest, false) and rpm <= coalesce(rpm_target + 150, 1000)) filter (is_turning) as was_idle
    from timeline
    where time_s >= ended_s - 2 and time_s < ended_s + 10
    group by
        run_no,
        started_s
),

restarts as (
    select
        run_no,
        lead(started_s) over (order by started_s) as next_start_s
    from run_spans
),

last_moments as (
    select
        falls.*,
        restarts.next_start_s - falls.fell_s as restart_s
    from falls
    inner join restarts on falls.run_no = restarts.run_no
    where falls.fell_s is not null
)

select
    last_moments.started_s as run_s,
    last_moments.fell_s as start_s,
    gear_word(last_moments.gear) as gear,
    case when last_moments.fell_s - last_moments.step_s <= 5 then 'shift' else 'idle' end as how,
    -- the next run of another log chain lies far off on the axis: no restart
    case when last_moments.restart_s < 86400 then last_moments.restart_s end as restart_s
from last_moments
where
    -- into gear: a stall whether or not it was started again in this log
    (last_moments.fell_s - last_moments.step_s <= 5 and last_moments.gear is distinct from 0)
    -- out of gear or plain idle: people also switch off there, so only a prompt restart tells
    or (
        (last_moments.was_idle or last_moments.fell_s - last_moments.step_s <= 5)
        and last_moments.restart_s <= 60
    )
