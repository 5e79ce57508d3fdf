/*
title = "Standing air"
what = """Manifold pressure while the engine stands, shortly before or after each run: there it is the atmosphere's."""
reads = ["run_spans", "timeline"]

[columns]
stands_kpa = "mean manifold pressure, in the unit that the log is taken to be in"
*/
select
    run_spans.run_no,
    mean_of(timeline.manifold_pressure) as stands_kpa
from timeline
inner join run_spans
    on
        timeline.time_s between run_spans.started_s - 60 and run_spans.started_s - 2
        or timeline.time_s between run_spans.ended_s + 3 and run_spans.ended_s + 60
where not timeline.is_turning and timeline.rpm < 20 and timeline.manifold_pressure is not null
group by run_spans.run_no
having
    count(*) >= 10
    and max(timeline.manifold_pressure) - min(timeline.manifold_pressure) < 0.1 * max(timeline.manifold_pressure)
