/*
title = "Run hours"
what = """The runs that a morning may use, with the engine hours at their start: the counter where it is logged, from its
newest reading on where a run lacks it, else the running hours added up from the logs. They are numbered from 0, engine by engine, in time order. Parameter: the moment
after which nothing is used."""
reads = ["events.runs", "marts.logs"]

[columns]
hours = "engine hours at the run's start"
end_hours = "engine hours at the run's end"
*/
with usable as (
    select
        runs.engine_id,
        runs.run_id,
        runs.log_id,
        logs.file,
        runs.started_at,
        runs.started_at + to_microseconds((runs.seconds * 1e6)::bigint) as ended_at,
        runs.seconds,
        runs.is_cold_start,
        runs.max_temp_c,
        runs.first_hours,
        runs.last_hours,
        runs.oil_first_c,
        runs.coolant_first_c,
        runs.air_first_c,
        runs.oil_high_c,
        runs.coolant_high_c,
        runs.air_high_c,
        runs.oil_pressure_kpa,
        runs.oil_pressure_high_kpa,
        runs.trim_swept_pct,
        runs.integral_swept_pct,
        sum(runs.seconds) over (
            partition by runs.engine_id order by runs.started_at
            rows between unbounded preceding and current row
        ) / 3600 as summed_hours
    from events.runs
    inner join marts.logs on runs.log_id = logs.log_id
    where logs.ended_at <= $as_of
),

carried as (
    -- a run without the counter stands between those that have it, not among the hours of a new engine
    select
        *,
        coalesce(
            last_value(last_hours - summed_hours ignore nulls) over until_here,
            first_value(first_hours - summed_hours + seconds / 3600 ignore nulls) over from_here,
            0
        ) as counted_before
    from usable
    window
        until_here as (
            partition by engine_id order by started_at
            rows between unbounded preceding and current row
        ),
        from_here as (
            partition by engine_id order by started_at
            rows between current row and unbounded following
        )
)

select
    row_number() over (order by engine_id, started_at) - 1 as run_no,
    engine_id,
    run_id,
    log_id,
    file,
    started_at,
    ended_at,
    seconds,
    is_cold_start,
    max_temp_c,
    coalesce(first_hours, summed_hours - seconds / 3600 + counted_before) as hours,
    coalesce(last_hours, summed_hours + counted_before) as end_hours,
    first_hours,
    last_hours,
    oil_first_c,
    coolant_first_c,
    air_first_c,
    oil_high_c,
    coolant_high_c,
    air_high_c,
    oil_pressure_kpa,
    oil_pressure_high_kpa,
    trim_swept_pct,
    integral_swept_pct
from carried
