/*
title = "Shift positions"
what = """Position and target in the samples that measure a shift: narrow, as it is gone through several times."""
reads = ["shift_samples"]
*/
select
    shift_no,
    time_s,
    position_pct,
    target_pct
from shift_samples
