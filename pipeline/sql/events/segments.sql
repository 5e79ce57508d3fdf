/*
title = "Segments"
what = """The stretches with the run and the shift that each belongs to, and the idle window and the lift of the helm that
its last samples belong to. Idle is: calm, no shift in the last 4 s, run older than 20 s, one gear. A lift is: helm opened in
neutral, no shift in the last 2 s."""
reads = ["run_spans", "steps", "stretches"]

[columns]
from_s = "its first sample; to_s is its last"
run_no = "the latest run, also after its end: is_turning tells"
shift_no = "the latest shift of that run"
settled_from_s = "when the idle integral has settled: 10 s after the start, the shift or the helm closing"
window_no = "the idle window of its samples from 20 s after the start and 4 s after the shift on; null where none is idle"
lift_no = "the lift of its samples from 2 s after the shift on; null where there is none"
*/
with placed as (
    select
        stretches.*,
        run_spans.run_no,
        run_spans.started_s,
        run_spans.ended_s,
        steps.shift_no,
        steps.step_s,
        steps.until_s
    from stretches
    asof left join run_spans on stretches.from_s >= run_spans.started_s
    asof left join steps on run_spans.run_no = steps.run_no and stretches.from_s >= steps.step_s
),

judged as (
    select
        *,
        is_at_rest and not coalesce(lag(is_at_rest) over in_order, false) as is_closing,
        is_turning and is_calm and from_s - started_s > 20 and coalesce(from_s - step_s > 4, true) as is_idle_at_first,
        is_turning and is_calm and to_s - started_s > 20 and coalesce(to_s - step_s > 4, true) as is_idle_at_last,
        is_turning and is_lifted and coalesce(from_s - step_s > 2, true) as is_lift_at_first,
        is_turning and is_lifted and coalesce(to_s - step_s > 2, true) as is_lift_at_last
    from placed
    window in_order as (order by from_s)
),

compared as (
    select
        *,
        last_value(case when is_closing then from_s end ignore nulls) over in_order as rested_s,
        is_idle_at_last
        and not coalesce(
            is_idle_at_first
            and lag(is_idle_at_last) over in_order
            and lag(run_no) over in_order = run_no
            and lag(gear) over in_order is not distinct from gear
            -- a hole of more than 3 s inside idle may hide a shift
            and from_s - previous_s <= 3,
            false
        ) as is_window_start,
        is_lift_at_last
        and not coalesce(
            is_lift_at_first and lag(is_lift_at_last) over in_order and lag(run_no) over in_order = run_no,
            false
        ) as is_lift_start
    from judged
    window in_order as (order by from_s)
)

select
    from_s,
    to_s,
    samples,
    is_turning,
    run_no,
    started_s,
    ended_s,
    shift_no,
    step_s,
    until_s,
    gear,
    greatest(coalesce(step_s, started_s), rested_s, started_s) + 10 as settled_from_s,
    case when is_idle_at_last then count(*) filter (is_window_start) over in_order end::integer as window_no,
    case when is_lift_at_last then count(*) filter (is_lift_start) over in_order end::integer as lift_no
from compared
window in_order as (order by from_s)
order by from_s
