/*
title = "Evidence"
unit = "count"
decimals = 0
facet = "what was seen"
worse = "lower"
resolution = 1.0
meaning = "How often a run shows each thing that a morning asks about: shifts with a reading into each gear, idle windows in each gear, a warm engine, a lift off idle in neutral."
minimum_n = 1
caveat = "Counts what was logged; an ordinary trip holds most of it."
do = "Bring in the newest log, or log a dock check."
rests_on = { shift = ["shift_position", "shift_target"], idle = ["rpm", "rpm_target"], pick-up = ["rpm", "pedal"], warm = ["coolant_temp", "oil_temp"] }
source = "the dock check: common practice, no published source"

[judged]
against = "presence"
*/
with seen as (
    select
        engine_id,
        run_id,
        'shift ' || to_gear as facet
    from focus.shifts
    where reach_error_pct is not null and to_gear is not null
    union all
    select
        engine_id,
        run_id,
        'idle ' || gear as facet
    from focus.idle_windows
    where gear is not null
    union all
    select
        engine_id,
        run_id,
        'warm' as facet
    from focus.runs
    where max_temp_c >= 55
    union all
    select
        engine_id,
        run_id,
        'pick-up' as facet
    from focus.pick_ups
)

select
    engine_id,
    run_id,
    facet,
    count(*) as value,
    count(*) as n
from seen
group by
    engine_id,
    run_id,
    facet
