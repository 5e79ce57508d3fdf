/*
title = "First gears"
what = """The gear each run started in."""
reads = ["run_spans", "samples"]
*/
select
    run_spans.run_no,
    samples.gear
from run_spans
inner join samples on run_spans.started_s = samples.time_s
