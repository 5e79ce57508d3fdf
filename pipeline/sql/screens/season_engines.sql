/*
title = "Engines of a season"
what = """Which engines have a reading of one indicator and facet up to a moment. Parameters: the indicator, the facet, the
moment."""
reads = ["marts.readings", "events.runs", "marts.logs"]
*/
select distinct readings.engine_id
from marts.readings
inner join events.runs on readings.run_id = runs.run_id
inner join marts.logs on runs.log_id = logs.log_id
where
    readings.indicator = $indicator
    and readings.facet = $facet
    and logs.ended_at <= $as_of
order by
    readings.engine_id
