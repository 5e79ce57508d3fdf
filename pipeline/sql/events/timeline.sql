/*
title = "Timeline"
what = """One narrow row a sample, in the same order: the run and the shift it belongs to, told by the instants they began,
and since when the helm has been at rest. started_s is null where the engine does not turn."""
reads = ["marks"]
*/
with seen as (
    select
        time_s,
        rpm,
        rpm_target,
        gear,
        is_at_rest,
        lag(is_at_rest) over () as was_at_rest,
        last_value(starts_s ignore nulls) over (rows between unbounded preceding and current row) as started_s,
        last_value(steps_s ignore nulls) over (rows between unbounded preceding and current row) as step_s
    from marks
)

select
    time_s,
    case when rpm > 200 then started_s end as started_s,
    case when rpm > 200 and step_s >= started_s then step_s end as step_s,
    rpm,
    rpm_target,
    gear,
    is_at_rest,
    last_value(case when is_at_rest and not coalesce(was_at_rest, false) then time_s end ignore nulls)
        over (rows between unbounded preceding and current row) as rested_s
from seen
