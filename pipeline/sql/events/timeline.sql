/*
title = "Timeline"
what = """Every sample with the run, the shift, the idle window and the lift it belongs to. The segments stand in the order of
the samples and say how many of them they hold, so putting both side by side is all it takes: no join, no window. A sample
that does not lie in the time of its segment ends the query: both sides came in different orders."""
reads = ["samples", "segments"]
view = true
*/
select
    samples.* replace (
        case
            when samples.time_s between laid_out.from_s and laid_out.to_s then samples.time_s
            else error('out of step: a sample stands beside the segment of another')
        end as time_s
    ),
    laid_out.* exclude (place, gear, from_s, to_s)
-- in this order: the right side is held in memory, the left one streams
from samples
positional join (
    select
        * exclude (samples),
        unnest(range(samples)) as place
    from segments
) as laid_out
