/*
title = "Channel parts"
what = """Every channel in every part of a run, one row each, with what the engine did meanwhile."""
reads = ["run_parts"]

[columns]
n = "values of the channel in the part; 0 where it was lost"
*/
select
    run_no,
    part_no,
    from_s,
    to_s,
    is_resting,
    is_closed,
    rpm_low,
    rpm_high,
    rpm_target,
    samples,
    unnest(channels, recursive := true)
from run_parts
