/*
title = "Glitches"
what = """Samples that no actuator or crankshaft can follow: one sample far from two neighbours that agree (a spike), or
a position that jumps faster than 800 % of travel a second (a jump). Judged where samples are at most 0.15 s apart."""
reads = ["samples"]
*/
with positions as (
    -- over the position's own samples: rows of other channels between them are no neighbours
    select
        time_s,
        shift_position,
        lag(shift_position) over () as position_before,
        lag(shift_position, 2) over () as position_before_that,
        lead(shift_position) over () as position_after,
        time_s - lag(time_s) over () as step_s
    from samples
    where shift_position is not null
),

speeds as (
    select
        time_s,
        rpm,
        lag(rpm) over () as rpm_before,
        lead(rpm) over () as rpm_after,
        time_s - lag(time_s) over () as step_s
    from samples
    where rpm is not null
)

select
    time_s,
    'shift_position' as channel,
    abs(position_after - position_before) < 4 as is_spike
from positions
where
    step_s <= 0.15
    and (
        (
            abs(shift_position - position_before) > 8
            and abs(shift_position - position_after) > 8
            and abs(position_after - position_before) < 4
        )
        or (
            abs(shift_position - position_before) > 15
            and abs(shift_position - position_before) / step_s > 800
            and abs(position_after - position_before) > 8
            -- the way back from a spike is no jump
            and (abs(position_before - position_before_that) > 8 and abs(shift_position - position_before_that) < 4) is not true
        )
    )
union all
select
    time_s,
    'rpm' as channel,
    true as is_spike
from speeds
where
    step_s <= 0.15
    and abs(rpm - rpm_before) > 600
    and abs(rpm - rpm_after) > 600
    and abs(rpm_after - rpm_before) < 200
