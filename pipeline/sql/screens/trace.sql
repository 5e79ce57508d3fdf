/*
title = "Trace"
what = """A stretch of a log, thinned: of every channel the lowest and the highest sample of each bucket, at their own times,
so that no spike is lost and no line has more than two points a bucket. Parameters: the samples' file, from and to (epoch s),
how many buckets."""
*/
with samples as (
    unpivot (
        select
            time_s,
            columns(* exclude (time_s))::double
        from read_parquet($samples)
        where time_s between $from_s and $to_s
    )
    on columns(* exclude (time_s))
    into name channel value value
),

buckets as (
    select
        channel,
        least(floor((time_s - $from_s) / greatest($to_s - $from_s, 1e-3) * $buckets), $buckets - 1) as bucket,
        min(value) as low,
        arg_min(time_s, value) as low_s,
        max(value) as high,
        arg_max(time_s, value) as high_s
    from samples
    group by
        channel,
        bucket
)

select
    channel,
    low_s as at_s,
    low as value
from buckets
union
select
    channel,
    high_s as at_s,
    high as value
from buckets
order by
    channel,
    at_s
