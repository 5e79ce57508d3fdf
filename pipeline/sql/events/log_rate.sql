/*
title = "Log rate"
what = """The usual step between two position samples around each shift, s."""
reads = ["shift_rows"]
*/
select
    shift_no,
    -- the first 8 s of a shift are one stretch, so span over count is the step
    (max(time_s) - min(time_s)) / nullif(count(*) - 1, 0) as position_step_s
from shift_rows
where position_pct is not null and time_s <= step_s + 8
group by shift_no
