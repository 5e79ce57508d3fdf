/*
title = "Facets"
what = """Which facets of which indicators have readings at all."""
reads = ["marts.readings"]
*/
select
    indicator,
    facet
from marts.readings
group by
    indicator,
    facet
order by
    indicator,
    facet
