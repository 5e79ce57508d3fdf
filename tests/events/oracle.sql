/*
title = "Oracle"
what = """Runs, shifts and idle windows told from the words of the contract with ordinary ordered windows over one table of
samples. Nothing here is taken from the event queries; where a shift is slow or unsteady it says nothing."""
*/
create or replace temp table oracle_numbered as
select
    *,
    row_number() over (order by time_s) as row_no,
    coalesce(rpm > 200, false) as turns
from oracle_samples;

create or replace temp table oracle_in_runs as
with before as (
    select
        *,
        coalesce(lag(turns) over (order by row_no), false) as turned,
        time_s - lag(time_s) over (order by row_no) as hole_s
    from oracle_numbered
)
select
    *,
    sum(case when turns and (not turned or hole_s > 10) then 1 else 0 end) over (order by row_no) as run_no
from before
where turns;

create or replace temp table oracle_runs as
select
    run_no,
    min(time_s) as from_s,
    max(time_s) as to_s
from oracle_in_runs
group by run_no
order by run_no;

create or replace temp table oracle_in_shifts as
with moved as (
    select
        *,
        lag(shift_target) over (partition by run_no order by row_no) as last_target
    from oracle_in_runs
),
counted as (
    select
        *,
        case when abs(shift_target - last_target) > 5 then time_s end as new_step_s
    from moved
)
select
    *,
    max(new_step_s) over (partition by run_no order by row_no) as step_s
from counted;

create or replace temp table oracle_shifts as
with spans as (
    select
        run_no,
        step_s,
        first(last_target order by row_no) as from_target,
        first(shift_target order by row_no) as to_target,
        max(time_s) as last_s
    from oracle_in_shifts
    where step_s is not null
    group by
        run_no,
        step_s
),
ended as (
    select
        *,
        coalesce(lead(step_s) over (partition by run_no order by step_s), last_s) as until_s
    from spans
),
plateaus as (
    select
        ended.step_s,
        median(samples.shift_position) as settled
    from ended
    inner join oracle_in_shifts as samples on ended.step_s = samples.step_s
    where samples.time_s >= greatest(ended.step_s + 1.5, ended.until_s - 5) and ended.until_s - ended.step_s >= 2.2
    group by ended.step_s
),
strays as (
    select
        plateaus.step_s,
        max(samples.time_s) filter (abs(samples.shift_position - plateaus.settled) > 2) as last_stray_s,
        max(abs(samples.shift_position - plateaus.settled)) filter (samples.time_s > samples.step_s + 1) as worst
    from plateaus
    inner join oracle_in_shifts as samples on plateaus.step_s = samples.step_s
    group by plateaus.step_s
)
select
    ended.step_s,
    ended.from_target,
    ended.to_target,
    plateaus.settled,
    min(samples.time_s) as arrived_s
from ended
left join strays on ended.step_s = strays.step_s and strays.worst < 1
left join plateaus on strays.step_s = plateaus.step_s
left join oracle_in_shifts as samples
    on strays.step_s = samples.step_s and samples.time_s > coalesce(strays.last_stray_s, 0)
group by all
order by ended.step_s;

create or replace temp table oracle_windows as
with judged as (
    select
        samples.*,
        gear_or_level,
        pedal <= 1
        and samples.time_s - runs.from_s > 20
        and coalesce(samples.time_s - samples.step_s > 4, true)
        and case when rpm_target is null then rpm between 450 and 1000 else abs(rpm - rpm_target) <= 150 end as idles
    from (
        select
            *,
            coalesce(gear, case when shift_target < 31 then -1 when shift_target < 70 then 0 else 1 end) as gear_or_level
        from oracle_in_shifts
    ) as samples
    inner join oracle_runs as runs on samples.run_no = runs.run_no
),
islands as (
    -- rows that idle in one gear of one run, one after another, keep the difference of two row numbers
    select
        *,
        row_no - row_number() over (partition by run_no, gear_or_level order by row_no) as island
    from judged
    where idles
)
select
    min(time_s) as from_s,
    max(time_s) as to_s,
    count(*) as samples,
    avg(rpm) as rpm_mean,
    stddev_samp(rpm) as rpm_sd,
    avg(fuel_trim) filter (fuel_closed_loop = 1) as trim_mean
from islands
group by
    run_no,
    gear_or_level,
    island
having max(time_s) - min(time_s) >= 5
order by from_s;
