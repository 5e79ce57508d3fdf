/*
title = "Shift samples"
what = """The samples that measure a shift: its first 8 s and its last 5 s."""
reads = ["timeline"]
view = true
*/
select
    *,
    (step_s + until_s) / 2 as half_s
from timeline
where is_turning and shift_no is not null and (time_s <= step_s + 8 or time_s >= until_s - 5)
