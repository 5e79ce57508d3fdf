/*
title = "Offset and span of the shift positions"
what = """Of every run of one engine in which all three gears were reached: how far they stand off their targets together, and
by how much the way from reverse to forward differs from the way between their targets. Parameters: the engine, the
moment."""
reads = ["marts.readings", "events.runs", "marts.logs"]

[columns]
offset_pct = "mean reach error of the three gears, % of travel: the sensor or its mounting moves all alike"
span_pct = "way from reverse to forward less the way between their targets, % of travel: below zero is travel lost"
shifts = "how many shifts it rests on"
*/
with by_run as (
    select
        run_id,
        any_value(started_at) as started_at,
        max(value) filter (facet = 'reverse') as reverse_pct,
        max(value) filter (facet = 'neutral') as neutral_pct,
        max(value) filter (facet = 'forward') as forward_pct,
        -- some units run the other way round: forward low
        sign(max(setting) filter (facet = 'forward') - max(setting) filter (facet = 'reverse')) as direction,
        sum(n) as shifts
    from marts.readings
    where engine_id = $engine_id and indicator = 'shift_reach_error'
    group by run_id
)

select
    by_run.run_id,
    epoch(by_run.started_at) as at_s,
    (by_run.reverse_pct + by_run.neutral_pct + by_run.forward_pct) / 3 as offset_pct,
    (by_run.forward_pct - by_run.reverse_pct) * coalesce(by_run.direction, 1) as span_pct,
    by_run.shifts::integer as shifts,
    logs.file
from by_run
inner join events.runs on by_run.run_id = runs.run_id
inner join marts.logs on runs.log_id = logs.log_id
where
    logs.ended_at <= $as_of
    and by_run.reverse_pct is not null
    and by_run.neutral_pct is not null
    and by_run.forward_pct is not null
order by
    at_s
