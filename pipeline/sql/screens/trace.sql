/*
title = "Trace"
what = """A stretch of a log, thinned: of every channel asked for the lowest and the highest sample of each bucket, at their
own times, so that no spike is lost and no line has more than two points a bucket. Only the channels asked for are read, and
only the parts of the file that the stretch touches. Parameters: the samples' file, from and to (epoch s), the channels, how
many buckets."""
*/
with stretch as (
    select
        time_s,
        least(floor((time_s - $from_s) / greatest($to_s - $from_s, 1e-3) * $buckets), $buckets - 1)::integer as bucket,
        columns($channels)
    from read_parquet($samples)
    where time_s between $from_s and $to_s
),

-- a column a channel all through the pass over the samples: one row a sample and channel would be twenty times as many
ends as (
    select
        struct_pack(
            low := min(columns(* exclude (time_s, bucket)))::double,
            low_s := arg_min(time_s, columns(* exclude (time_s, bucket))),
            high := max(columns(* exclude (time_s, bucket)))::double,
            high_s := arg_max(time_s, columns(* exclude (time_s, bucket)))
        )
    from stretch
    group by bucket
),

buckets as (
    unpivot ends
    on columns(*)
    into name channel value extremes
)

select
    channel,
    extremes.low_s as at_s,
    extremes.low as value
from buckets
where extremes.low is not null
union
select
    channel,
    extremes.high_s as at_s,
    extremes.high as value
from buckets
where extremes.high is not null
order by
    channel,
    at_s
