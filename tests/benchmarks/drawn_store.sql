/*
A store of a big fleet as the screens read it, drawn and not measured: every engine of every boat runs once a day.
Needs: facets (indicator, facet, centre, spread) and the variables boats, engines, days and first_morning. Every number comes
from a hash of its place, so that the store is the same each time. One boat in 12 is worn beyond its hold limit, one in 7
drifts beyond its watch limit, one in 15 has been silent for a week.
*/
create schema events;
create schema marts;

-- a number between -1 and 1 that looks drawn, near 0 more often than far from it
create macro wobble(place) as (
    (hash(place || 'a') % 10007 + hash(place || 'b') % 10007 + hash(place || 'c') % 10007) / 15010.5 - 1
);

create table boats as
select
    boat,
    format('b{:03d}', boat) as boat_id,
    boat % 12 = 5 as is_worn,
    boat % 7 = 3 as is_drifting,
    boat % 15 = 8 as is_silent
from range(getvariable('boats')) as drawn (boat);

create table mornings as
select
    boats.*,
    day,
    getvariable('first_morning') + to_days(day::integer) + to_seconds(boat) as began,
    format('{:08x}{:08x}', boat, day) as log_id,
    'inbox/' || boat_id || '/' || strftime(began, '%Y-%m-%d_%H%M') || '.csv' as file
from boats
cross join range(getvariable('days')) as drawn (day)
where not (is_silent and day >= getvariable('days') - 7);

create table events.runs as
select
    boat_id || '/e' || engine as engine_id,
    log_id,
    engine_id || '@' || day as run_id,
    began as started_at,
    1200.0::double as seconds,
    true as is_cold_start,
    12.0::double as start_temp_c,
    75.0::double as max_temp_c,
    4300.0::double as rpm_max,
    400 + day * 1.5::double as first_hours,
    400 + day * 1.5 + 0.33::double as last_hours,
    0 as rpm_dropouts,
    24000 as samples,
    day,
    engine = 0 and is_worn as is_worn,
    engine = 0 and is_drifting as is_drifting
from mornings
cross join range(getvariable('engines')) as drawn (engine);

create table marts.readings as
select
    runs.engine_id,
    runs.run_id,
    facets.indicator,
    facets.facet,
    runs.started_at,
    facets.centre
    + facets.spread * wobble(runs.run_id || facets.indicator || facets.facet)
    + case
        when runs.is_worn and facets.indicator = 'shift_reach_error' and facets.facet <> 'neutral'
            then 2.6 * runs.day / getvariable('days')
        when runs.is_drifting and facets.indicator = 'idle_fuel_trim' then 6.5 * runs.day / getvariable('days')
        else 0
    end as value,
    5::bigint as n,
    65 + 14 * wobble(runs.run_id || 'temp') as temp_c,
    13.7 + 0.2 * wobble(runs.run_id || 'volt') as battery_v,
    null::double as setting,
    null::varchar as remark
from events.runs
cross join facets;

insert into marts.readings
select
    engine_id,
    run_id,
    'evidence',
    thing,
    started_at,
    2,
    2,
    null,
    null,
    null,
    null
from events.runs
cross join unnest([
    'shift reverse', 'shift neutral', 'shift forward', 'idle reverse', 'idle neutral', 'idle forward', 'warm', 'pick-up'
]) as seen (thing);

create table events.shifts as
select
    runs.engine_id,
    runs.log_id,
    runs.run_id,
    runs.started_at + to_seconds(60 + 90 * place) as started_at,
    20.0::double as held_s,
    ['neutral', 'forward', 'neutral', 'reverse', 'neutral', 'forward', 'neutral'][place + 1] as from_gear,
    ['neutral', 'forward', 'neutral', 'reverse', 'neutral', 'forward', 'neutral'][place + 2] as to_gear,
    case from_gear when 'neutral' then 50 when 'forward' then 88 else 12 end::double as from_target_pct,
    case to_gear when 'neutral' then 50 when 'forward' then 88 else 12 end::double as target_pct,
    from_target_pct as start_pct,
    target_pct + wobble(runs.run_id || place) * 0.4
    - case when runs.is_worn and to_gear <> 'neutral' then 2.6 * runs.day / getvariable('days') else 0 end
        as settled_pct,
    settled_pct - target_pct as reach_error_pct,
    0.4 + 0.05 * wobble(runs.run_id || place || 't') as transit_s,
    0.0::double as hesitation_s,
    0.3::double as overshoot_pct,
    30.0::double as dip_rpm,
    20.0::double as flare_rpm,
    13.6 + 0.3 * wobble(runs.run_id || place || 'v') as battery_v,
    40 + 30 * wobble(runs.run_id || place || 'c') as temp_c,
    null::varchar as why_null
from events.runs
cross join range(6) as drawn (place);

create table events.idle_windows as
select
    runs.engine_id,
    runs.log_id,
    runs.run_id,
    runs.started_at + to_seconds(40 + 200 * place) as started_at,
    20.0::double as duration_s,
    ['neutral', 'neutral', 'forward', 'reverse', 'neutral'][place + 1] as gear,
    20 + 12 * place + 4 * wobble(runs.run_id || place) as temp_c,
    temp_c as state_temp_c,
    temp_c as coolant_c,
    640.0::double as rpm_mean,
    6.0::double as rpm_sd,
    640.0::double as rpm_target,
    400 as samples,
    -1 + 0.6 * wobble(runs.run_id || place || 'i') as integral_pct,
    45.0::double as feedforward_pct,
    false as is_unsettled,
    0.5 * wobble(runs.run_id || place || 'f')
    + case when runs.is_drifting then 6.5 * runs.day / getvariable('days') else 0 end as fuel_trim_pct,
    ['cold', 'warming', 'warming', 'hot', 'hot'][place + 1] as thermal,
    13.7::double as battery_v,
    300.0::double as oil_kpa
from events.runs
cross join range(5) as drawn (place);

alter table events.runs drop column day;
alter table events.runs drop column is_worn;
alter table events.runs drop column is_drifting;

create table marts.engine_logs as
select
    runs.engine_id,
    runs.log_id,
    runs.started_at,
    runs.started_at + to_seconds(1200) as ended_at,
    ['rpm', 'rpm_target', 'gear', 'shift_target', 'shift_position', 'idle_integral', 'oil_temp', 'fuel_trim', 'battery']
        as channels,
    'samples/short.parquet' as samples
from events.runs;

create table marts.logs as
select
    log_id,
    file,
    boat_id as boat,
    began as started_at,
    began + to_seconds(1200) as ended_at,
    1200.0::double as seconds,
    24000::bigint as rows,
    'taken' as status,
    null::varchar as reason,
    null::bigint as line,
    [boat_id || '/e' || engine for engine in range(getvariable('engines'))] as engines,
    []::varchar[] as copies,
    0::bigint as rows_dropped,
    0::bigint as rows_spread,
    false as is_start_assumed
from mornings;

-- one log of ten million samples, two days at 50 Hz, of an engine that has other logs too
insert into marts.logs
select
    'fedcba9876543210',
    'inbox/b000/long.csv',
    'b000',
    getvariable('first_morning') + to_hours(6),
    getvariable('first_morning') + to_hours(6) + to_seconds(200000),
    200000.0,
    10000000,
    'taken',
    null,
    null,
    ['b000/e0'],
    [],
    0,
    0,
    false;

insert into marts.engine_logs
select
    'b000/e0',
    'fedcba9876543210',
    getvariable('first_morning') + to_hours(6),
    getvariable('first_morning') + to_hours(6) + to_seconds(200000),
    ['rpm', 'rpm_target', 'gear', 'shift_target', 'shift_position', 'idle_integral', 'oil_temp', 'fuel_trim', 'battery'],
    'samples/long.parquet';

drop table mornings;
drop table boats;
drop table facets;
