/*
title = "Sensor spikes"
what = """Single samples of the slower sensors far from two neighbours that agree, looked for only in the parts of a run
whose extremes lie that far apart. Sizes and the 5 s that neighbours may lie apart: common practice, no published source."""
reads = ["channel_parts", "timeline"]
*/
with sizes as (
    select unnest(
        [
            {'channel': 'battery', 'size': 2.0},
            {'channel': 'oil_temp', 'size': 10.0},
            {'channel': 'coolant_temp', 'size': 10.0},
            {'channel': 'air_temp', 'size': 10.0}
        ],
        recursive := true
    )
),

suspects as (
    select
        channel_parts.run_no,
        channel_parts.part_no,
        channel_parts.channel,
        sizes.size
    from channel_parts
    inner join sizes on channel_parts.channel = sizes.channel
    where channel_parts.high - channel_parts.low > sizes.size
),

neighbours as (
    select
        suspects.channel,
        suspects.size,
        timeline.time_s,
        case suspects.channel
            when 'battery' then timeline.battery
            when 'oil_temp' then timeline.oil_temp
            when 'coolant_temp' then timeline.coolant_temp
            when 'air_temp' then timeline.air_temp
        end as value,
        lag(value) over in_order as value_before,
        lead(value) over in_order as value_after,
        lead(timeline.time_s) over in_order - lag(timeline.time_s) over in_order as around_s
    from timeline
    inner join suspects
        on
            timeline.run_no = suspects.run_no
            and floor((timeline.time_s - timeline.started_s) / 30)::integer = suspects.part_no
    where timeline.is_turning and value is not null
    window in_order as (partition by suspects.run_no, suspects.channel order by timeline.time_s)
)

select
    time_s,
    channel,
    true as is_spike
from neighbours
where
    around_s <= 5
    and abs(value - value_before) > size
    and abs(value - value_after) > size
    and abs(value_after - value_before) < size / 4
