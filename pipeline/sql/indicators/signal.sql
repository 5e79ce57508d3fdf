/*
title = "Signal fault"
unit = "share of samples"
decimals = 2
facet = "channel"
worse = "higher"
resolution = 0.01
meaning = "Share of the run's samples of a channel that cannot be believed: flat, stuck at an end, spiking, impossible or in the wrong unit. No row where nothing is wrong."
minimum_n = 1
caveat = "A data finding, never an engine finding."
do = "Check the sensor, its plug and its wiring, and the channel map; nothing is concluded about the engine from this channel."
source = "common practice, no published source"

[judged]
against = "any"
*/
select
    engine_id,
    run_id,
    channel as facet,
    share as value,
    samples as n,
    fault || ': ' || detail as remark
from focus.signals
