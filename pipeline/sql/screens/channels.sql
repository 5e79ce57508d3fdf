/*
title = "Channels of an engine"
what = """Which channels any log of one engine has held up to a moment, and in how many logs. Parameters: the engine, the
moment."""
reads = ["marts.engine_logs", "marts.logs"]
*/
with held as (
    select unnest(engine_logs.channels) as channel
    from marts.engine_logs
    inner join marts.logs on engine_logs.log_id = logs.log_id
    where engine_logs.engine_id = $engine_id and logs.ended_at <= $as_of
)

select
    channel,
    count(*) as logs
from held
group by channel
order by
    channel
