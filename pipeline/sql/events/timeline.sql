/*
title = "Timeline"
what = """Every sample with the run, the shift, the idle window and the lift it belongs to. The segments stand in the order of
the samples and say how many of them they hold, so putting both side by side is all it takes: no join, no window."""
reads = ["samples", "segments"]
view = true
*/
select
    samples.*,
    laid_out.* exclude (place, gear)
-- in this order: the right side is held in memory, the left one streams
from samples
positional join (
    select
        * exclude (samples),
        unnest(range(samples)) as place
    from segments
) as laid_out
