/*
title = "Target levels"
what = """The levels at which one engine's shift target stood in one log, with what tells which gear they are. Parameter:
the sample file. One row of nulls where the log holds no target, so that it is known to have been looked at."""

[columns]
target_pct = "the level, to the nearest percent of travel"
seconds = "how long it stood there with the engine turning"
rpm_max = "fastest at that level"
starts = "how often the engine began to turn at that level"
*/
with turning as (
    select
        round(shift_target) as target_pct,
        rpm,
        time_s - lag(time_s) over () as step_s,
        rpm > 200 and not coalesce(lag(rpm > 200) over (), true) as is_start
    from read_parquet($samples)
    where rpm is not null and shift_target is not null
)

select
    target_pct::double as target_pct,
    sum(least(step_s, 1)) filter (rpm > 200) as seconds,
    max(rpm)::double as rpm_max,
    count(*) filter (is_start) as starts
from turning
group by target_pct
union all
select
    null as target_pct,
    null as seconds,
    null as rpm_max,
    0 as starts
where not exists (select 1 from turning)
