/*
title = "Idle rows"
what = """One narrow row a sample, in the same order: the number of the idle window it belongs to, null outside. Idle is:
helm at rest, no shift in the last 4 s, run older than 20 s, rpm within 150 of its target (450 to 1000 where no target is
logged), one gear."""
reads = ["timeline"]
*/
with judged as (
    select
        time_s,
        started_s,
        gear,
        greatest(coalesce(step_s, started_s), rested_s, started_s) + 10 as settled_from_s,
        coalesce(
            is_at_rest
            and time_s - started_s > 20
            and (step_s is null or time_s - step_s > 4)
            and case when rpm_target is null then rpm between 450 and 1000 else abs(rpm - rpm_target) <= 150 end,
            false
        ) as is_idle
    from timeline
),

compared as (
    select
        *,
        coalesce(lag(is_idle) over (), false)
        and lag(started_s) over () = started_s
        and lag(gear) over () is not distinct from gear
        -- a hole of more than 3 s inside idle may hide a shift
        and time_s - lag(time_s) over () <= 3 as continues
    from judged
)

select
    time_s,
    started_s,
    gear,
    settled_from_s,
    case
        when is_idle then last_value(case when is_idle and not continues then time_s end ignore nulls)
            over (rows between unbounded preceding and current row)
    end as window_s
from compared
