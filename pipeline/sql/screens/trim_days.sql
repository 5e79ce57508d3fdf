/*
title = "Fuel trim day by day"
what = """The median trim of one engine's idle windows, cold and hot, of each day of the fleet's own calendar that had both,
and the middle between them: the table can be right for one of the two or for the middle, never for both. Parameters: the
engine, the moment, the fleet's time zone, the runs whose trim is withheld."""
reads = ["events.idle_windows", "marts.logs"]

[columns]
at_s = "noon of the day in the fleet's zone, epoch s"
middle_pct = "halfway between the cold and the hot median, %"
windows = "idle windows of both"
*/
with by_day as (
    select
        date_trunc('day', timezone($zone, idle_windows.started_at)) as day,
        median(idle_windows.fuel_trim_pct) filter (idle_windows.thermal = 'cold') as cold_pct,
        median(idle_windows.fuel_trim_pct) filter (idle_windows.thermal = 'hot') as hot_pct,
        count(*) as windows
    from events.idle_windows
    inner join marts.logs on idle_windows.log_id = logs.log_id
    where
        idle_windows.engine_id = $engine_id
        and logs.ended_at <= $as_of
        and idle_windows.fuel_trim_pct is not null
        and idle_windows.thermal in ('cold', 'hot')
        and not list_contains($withheld::varchar [], idle_windows.run_id)
    group by day
)

select
    epoch(timezone($zone, day + interval 12 hour)) as at_s,
    cold_pct,
    hot_pct,
    (cold_pct + hot_pct) / 2 as middle_pct,
    windows::integer as windows
from by_day
where cold_pct is not null and hot_pct is not null
order by
    at_s
