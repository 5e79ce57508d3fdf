/*
title = "Run parts"
what = """Each run in parts of 30 s, with how many values, which extremes and which mean every channel had in each: what tells
a channel that stood still, was lost, or went where it cannot for a while. The one pass over the samples that looks at
every channel."""
reads = ["timeline"]

[columns]
part_no = "parts are counted from 0; the last one is shorter"
is_resting = "the helm was at rest throughout"
is_closed = "the lambda loop was closed throughout"
channels = "a list: channel, n, low, high, mean"
*/
select
    run_no,
    floor((time_s - started_s) / 30)::integer as part_no,
    count(*) as samples,
    min(time_s) as from_s,
    max(time_s) as to_s,
    coalesce(bool_and(is_at_rest), false) as is_resting,
    coalesce(min(fuel_closed_loop) = 1, false) as is_closed,
    min(rpm) as rpm_low,
    max(rpm) as rpm_high,
    mean_of(rpm_target) as rpm_target,
    [
        summary_of('rpm', rpm),
        summary_of('shift_target', shift_target),
        summary_of('shift_position', shift_position),
        summary_of('throttle', throttle),
        summary_of('pedal', pedal_pct),
        summary_of('idle_integral', idle_integral),
        summary_of('oil_temp', oil_temp),
        summary_of('coolant_temp', coolant_temp),
        summary_of('air_temp', air_temp),
        summary_of('lambda', "lambda"),
        summary_of('lambda_target', lambda_target),
        summary_of('fuel_trim', fuel_trim),
        summary_of('battery', battery),
        summary_of('oil_pressure', oil_pressure),
        summary_of('manifold_pressure', manifold_pressure),
        summary_of('engine_hours', engine_hours)
    ] as channels
from timeline
where is_turning
group by
    run_no,
    part_no
