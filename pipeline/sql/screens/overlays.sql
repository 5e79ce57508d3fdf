/*
title = "Shifts laid over each other"
what = """Positions of many shifts on one grid of seconds from their steps, in one pass over the samples of all of them: each
newest shift as a line, the first ones as the middle and the span of the inner eight tenths at every moment. Between two
samples the position is taken to run straight; over a gap of more than half a second nothing is said, nor after the next
step. Parameters: the sample files, and for each shift its number, file, moment (epoch s), length (s), gears and role; from
and to (s from the step) and how many grid steps."""
reads = []

[columns]
shift_no = "the newest shift's number; null for the first ones together"
position_pct = "position, or the median of the first ones', % of travel"
low_pct = "tenth percentile of the first ones' positions, % of travel"
high_pct = "ninetieth percentile"
shifts = "how many shifts the moment rests on"
*/
with chosen as (
    select
        unnest($shift_no) as shift_no,
        unnest($files) as samples,
        unnest($at_s) as at_s,
        unnest($held_s) as held_s,
        unnest($from_gear) as from_gear,
        unnest($to_gear) as to_gear,
        unnest($role) as role
),

positions as (
    select
        chosen.shift_no,
        taken.time_s - chosen.at_s as since_s,
        taken.shift_position::double as position_pct
    from read_parquet($read, filename = true) as taken
    inner join chosen
        on
            taken.filename = chosen.samples
            and taken.time_s between chosen.at_s + $from_s - 1 and chosen.at_s + $to_s + 1
    where taken.shift_position is not null
),

neighbours as (
    select
        shift_no,
        since_s,
        position_pct,
        lead(since_s) over (
            partition by shift_no
            order by since_s
        ) as next_s,
        lead(position_pct) over (
            partition by shift_no
            order by since_s
        ) as next_pct
    from positions
),

grid as (
    select
        chosen.shift_no,
        chosen.held_s,
        chosen.from_gear,
        chosen.to_gear,
        chosen.role,
        $from_s + ($to_s - $from_s) * unnest(range($steps + 1)) / $steps as since_s
    from chosen
),

laid as (
    select
        grid.shift_no,
        grid.from_gear,
        grid.to_gear,
        grid.role,
        grid.since_s,
        case
            when grid.since_s = neighbours.since_s then neighbours.position_pct
            when neighbours.next_s - neighbours.since_s <= 0.5
                then
                    neighbours.position_pct
                    + (neighbours.next_pct - neighbours.position_pct)
                    * (grid.since_s - neighbours.since_s)
                    / (neighbours.next_s - neighbours.since_s)
        end as position_pct
    from grid
    asof inner join neighbours
        on grid.shift_no = neighbours.shift_no and grid.since_s >= neighbours.since_s
    where grid.since_s <= grid.held_s
)

select
    role,
    from_gear,
    to_gear,
    shift_no,
    since_s,
    position_pct,
    null::double as low_pct,
    null::double as high_pct,
    1 as shifts
from laid
where role = 'newest' and position_pct is not null
union all
select
    'first' as role,
    from_gear,
    to_gear,
    null as shift_no,
    since_s,
    median(position_pct) as position_pct,
    quantile_cont(position_pct, 0.1) as low_pct,
    quantile_cont(position_pct, 0.9) as high_pct,
    count(*) as shifts
from laid
where role = 'first' and position_pct is not null
group by
    from_gear,
    to_gear,
    since_s
order by
    role,
    from_gear,
    to_gear,
    shift_no,
    since_s
