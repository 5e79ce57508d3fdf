/*
title = "Shift positions"
what = """Position and target in the samples that measure a shift: narrow, as it is gone through several times."""
reads = ["shift_samples"]
*/
select
    shift_no,
    time_s,
    shift_position as position_pct,
    shift_target as target_pct
from shift_samples
