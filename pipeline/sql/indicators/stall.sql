/*
title = "Stalls"
unit = "count"
decimals = 0
facet = "gear"
worse = "higher"
resolution = 1.0
meaning = "How often the engine died in the run, by the gear in force; n is how many shifts and idle windows it might have died in."
minimum_n = 1
caveat = "Stays a hold until a note answers it or five later runs are clean. Stopping the engine at the end of a log is none."
do = "Keep the boat in until the cause is found; write down what was done, or log five clean runs."
rests_on = { any = ["rpm"] }
source = "common practice, no published source: a stall in or out of gear is a hold"

[limits]
hold = 1.0

[judged]
against = "any"
clean_runs = 5
*/
with chances as (
    select
        engine_id,
        run_id,
        to_gear as gear
    from focus.shifts
    where to_gear is not null
    union all
    select
        engine_id,
        run_id,
        gear
    from focus.idle_windows
    where gear is not null
    union all
    -- a stall is a chance taken, even where nothing else was logged in that gear
    select
        engine_id,
        run_id,
        coalesce(gear, 'unknown') as gear
    from focus.stalls
),

counted as (
    select
        engine_id,
        run_id,
        coalesce(gear, 'unknown') as gear,
        count(*) as stalls
    from focus.stalls
    group by
        engine_id,
        run_id,
        gear
)

select
    chances.engine_id,
    chances.run_id,
    chances.gear as facet,
    coalesce(any_value(counted.stalls), 0) as value,
    count(*) as n
from chances
left join counted
    on
        chances.engine_id = counted.engine_id
        and chances.run_id = counted.run_id
        and chances.gear = counted.gear
group by
    chances.engine_id,
    chances.run_id,
    chances.gear
