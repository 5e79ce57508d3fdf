/*
title = "Marks"
what = """One narrow row a sample, in the same order, with a mark where a run starts and where a shift steps. A table of its
own: DuckDB streams a window over a stored table, but sorts one over a join."""
reads = ["samples", "run_spans", "steps"]
*/
select
    samples.time_s,
    samples.rpm,
    samples.rpm_target,
    samples.gear,
    samples.is_at_rest,
    run_spans.started_s as starts_s,
    steps.step_s as steps_s
from samples
left join run_spans on samples.time_s = run_spans.started_s
left join steps on samples.time_s = steps.step_s
