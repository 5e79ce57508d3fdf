/*
title = "Glitches"
what = """Samples that no actuator or crankshaft can follow: one sample far from two neighbours that agree (a spike), or
a position that jumps faster than 800 % of travel a second (a jump). Judged where samples are at most 0.15 s apart."""
reads = ["samples"]
*/
with neighbours as (
    select
        time_s,
        rpm,
        shift_position,
        lag(shift_position) over () as position_before,
        lag(shift_position, 2) over () as position_before_that,
        lead(shift_position) over () as position_after,
        lag(rpm) over () as rpm_before,
        lead(rpm) over () as rpm_after,
        time_s - lag(time_s) over () as step_s
    from samples
)

select
    time_s,
    case when abs(shift_position - position_before) > 8 then 'shift_position' else 'rpm' end as channel,
    case
        when abs(shift_position - position_before) > 8 then abs(position_after - position_before) < 4
        else true
    end as is_spike
from neighbours
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
        or (
            abs(rpm - rpm_before) > 600
            and abs(rpm - rpm_after) > 600
            and abs(rpm_after - rpm_before) < 200
        )
    )
