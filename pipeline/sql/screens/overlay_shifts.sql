/*
title = "Shifts to lay over each other"
what = """The newest shifts of one engine from and to neutral, and the first ones of the present comparison that were made at
like voltage and temperature, each with where its samples are. A throw straight through neutral is none of them, nor is a
shift without a settled position. Parameters: the engine, the moment, the runs that are withheld, from when on each gear's
comparison runs (epoch s, 0 for the first log), how many newest and how many first ones, the fewest that make a picture,
and how far beyond the newest ones' own range a temperature (C) and a voltage (V) still counts as like."""
reads = ["events.shifts", "marts.engine_logs", "marts.logs"]

[columns]
role = "newest or first"
is_like = "whether the first ones were chosen for like voltage and temperature; false where too few were"
*/
with usable as (
    select
        shifts.log_id,
        logs.file,
        engine_logs.samples,
        epoch(shifts.started_at) as at_s,
        shifts.held_s,
        shifts.from_gear,
        shifts.to_gear,
        shifts.target_pct,
        shifts.settled_pct,
        shifts.reach_error_pct,
        shifts.transit_s,
        shifts.hesitation_s,
        shifts.battery_v,
        shifts.temp_c,
        row_number() over (
            partition by
                shifts.from_gear,
                shifts.to_gear
            order by shifts.started_at
        ) as first_no,
        row_number() over (
            partition by
                shifts.from_gear,
                shifts.to_gear
            order by shifts.started_at desc
        ) as newest_no
    from events.shifts
    inner join marts.engine_logs
        on shifts.engine_id = engine_logs.engine_id and shifts.log_id = engine_logs.log_id
    inner join marts.logs on shifts.log_id = logs.log_id
    where
        shifts.engine_id = $engine_id
        and logs.ended_at <= $as_of
        and shifts.settled_pct is not null
        and not list_contains($withheld::varchar [], shifts.run_id)
        and shifts.from_gear <> shifts.to_gear
        and (shifts.from_gear = 'neutral' or shifts.to_gear = 'neutral')
        -- the lever did wait in the gear before: no second half of a throw straight through
        and coalesce(
            abs(shifts.start_pct - shifts.from_target_pct)
            < 0.25 * abs(shifts.target_pct - shifts.from_target_pct),
            true
        )
        and epoch(shifts.started_at)
        -- a time in the database has microseconds, one that went through a float may have lost some
        >= case shifts.to_gear
            when 'reverse' then $since_reverse_s
            when 'forward' then $since_forward_s
            else $since_neutral_s
        end - 1e-3
),

ranges as (
    select
        from_gear,
        to_gear,
        min(temp_c) - $like_temp_c as temp_low_c,
        max(temp_c) + $like_temp_c as temp_high_c,
        min(battery_v) - $like_v as battery_low_v,
        max(battery_v) + $like_v as battery_high_v
    from usable
    where newest_no <= $newest
    group by
        from_gear,
        to_gear
),

early as (
    select
        usable.*,
        -- what is not logged cannot be unlike
        coalesce(usable.temp_c between ranges.temp_low_c and ranges.temp_high_c, true)
        and coalesce(usable.battery_v between ranges.battery_low_v and ranges.battery_high_v, true) as is_like
    from usable
    inner join ranges on usable.from_gear = ranges.from_gear and usable.to_gear = ranges.to_gear
    -- far enough into the comparison to find like ones, not so far that wear is among them
    where usable.newest_no > $newest and usable.first_no <= 3 * $first
),

counted as (
    select
        *,
        count(*) filter (is_like) over (
            partition by
                from_gear,
                to_gear
        ) >= $fewest as has_like
    from early
),

chosen as (
    select
        *,
        row_number() over (
            partition by
                from_gear,
                to_gear
            order by first_no
        ) as place
    from counted
    where is_like or not has_like
),

shown as (
    select
        * exclude (is_like, has_like, place),
        'first' as role,
        has_like as is_like
    from chosen
    where place <= $first
    union all by name
    select
        *,
        'newest' as role,
        true as is_like
    from usable
    where newest_no <= $newest
)

select
    role,
    log_id,
    file,
    samples,
    at_s,
    held_s,
    from_gear,
    to_gear,
    target_pct,
    settled_pct,
    reach_error_pct,
    transit_s,
    hesitation_s,
    battery_v,
    temp_c,
    is_like
from shown
order by
    role,
    at_s
