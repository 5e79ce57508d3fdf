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
        run_spans.run_no,
        run_spans.started_s,
        run_spans.ended_s,
        lead(run_spans.started_s) over (order by run_spans.started_s) as next_start_s,
        (
            select min(samples.time_s)
            from samples
            where samples.rpm < 100 and samples.time_s > run_spans.ended_s and samples.time_s < run_spans.ended_s + 10
        ) as fell_s
    from run_spans
),

last_moments as (
    select
        falls.run_no,
        falls.started_s,
        falls.fell_s,
        falls.next_start_s - falls.fell_s as restart_s,
        arg_max(timeline.gear, timeline.time_s) as gear,
        max(timeline.step_s) as step_s,
        -- idle: helm at rest all through the last two seconds, and never above the idle range in them
        bool_and(coalesce(timeline.is_at_rest, false) and timeline.rpm <= coalesce(timeline.rpm_target + 150, 1000)) as was_idle
    from falls
    inner join timeline on falls.started_s = timeline.started_s and timeline.time_s >= falls.ended_s - 2
    where falls.fell_s is not null and (falls.next_start_s is null or falls.fell_s < falls.next_start_s)
    group by
        falls.run_no,
        falls.started_s,
        falls.fell_s,
        falls.next_start_s
)

select
    last_moments.started_s as run_s,
    last_moments.fell_s as start_s,
    gear_words.word as gear,
    case when last_moments.fell_s - last_moments.step_s <= 5 then 'shift' else 'idle' end as how,
    -- the next run of another log chain lies far off on the axis: no restart
    case when last_moments.restart_s < 86400 then last_moments.restart_s end as restart_s
from last_moments
left join gear_words on last_moments.gear = gear_words.code
where
    -- into gear: a stall whether or not it was started again in this log
    (last_moments.fell_s - last_moments.step_s <= 5 and last_moments.gear is distinct from 0)
    -- out of gear or plain idle: people also switch off there, so only a prompt restart tells
    or (
        (last_moments.was_idle or last_moments.fell_s - last_moments.step_s <= 5)
        and last_moments.restart_s <= 60
    )
