"""The documented list of causes: the word that `check --json` gives, what it means, and what to do about it."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import Final


@dataclass(frozen=True)
class Cause:
    """One cause. `shows` is the pattern of readings that points at it, `against` what speaks against it.

    `runs_engine` asks for the cautions.
    """

    word: str
    title: str
    shows: str
    against: str
    do: str
    runs_engine: bool = False


_ALL: Final = (
    Cause(
        "end_stop_wear",
        "Wear at one gear's end",
        "one gear's settled position moves away from its target, the other gears do not",
        "Another gear moved as well, or the error has been there, the same, since commissioning.",
        "Inspect that gear's stop, detent and dogs. Do not move the target: it would only hide the wear.",
    ),
    Cause(
        "lost_travel",
        "Lost travel",
        "forward and reverse both fall short of their targets, neutral does not",
        "Neutral moved too, only one end is short, or the ends went the same way.",
        "Inspect linkage, bushings and actuator. Do not move the targets: they would only hide the wear.",
    ),
    Cause(
        "sensor_mounting",
        "Position sensor or its mounting",
        "all three gears read off by the same amount",
        "One gear stayed where it was: a sensor that slipped shifts all of them alike.",
        "Check the position sensor's mounting and its zero before touching anything mechanical.",
    ),
    Cause(
        "sensor_fault",
        "Sensor fault",
        "a channel is flat, frozen, stuck, spiking, lost or impossible",
        "Another channel tells the same story, so the engine did do it.",
        "Check the sensor, its plug and its wiring. Nothing is concluded about the engine from this channel.",
    ),
    Cause(
        "linkage_play",
        "Play in the linkage",
        "settled positions scatter, with no gear's mean far off",
        "The positions go somewhere else rather than scatter: a drift widens the spread too.",
        "Look for play in linkage and bushings, then for a worn position sensor.",
    ),
    Cause(
        "unit_mismatch",
        "Mechanical difference of this unit",
        "a gear has settled off its target by the same amount since commissioning",
        "It was not there at commissioning, or it has moved since: then it is wear or a change.",
        "After several repeats, set the target to what the unit reaches; try it in open water first.",
        runs_engine=True,
    ),
    Cause(
        "actuator_wear",
        "Worn or weak actuator",
        "transits are slower at like voltage and temperature",
        "Voltage or temperature explains the slow transits, or shifts stand still part-way.",
        "Check the actuator's supply and ground under load, then the actuator and its linkage for drag.",
    ),
    Cause(
        "weak_battery",
        "Weak battery or charging",
        "voltage is low, and shifts are slower by what that voltage explains",
        "Transits stay slow at good voltage.",
        "Test the battery and the charging circuit; do not accuse the actuator before that.",
    ),
    Cause(
        "cold_grease",
        "Cold grease",
        "transits are slower by what the temperature explains",
        "Transits stay slow on warm days, or the voltage was low as well.",
        "Look again on a warm day; renew the grease at the next service if it stays.",
    ),
    Cause(
        "dog_contact",
        "Dog teeth meeting tip to tip",
        "shifts often stand still part-way",
        "Shifts are slow all the way rather than standing still.",
        "Check idle speed at engagement, then dogs, clutch dog and shift shaft.",
    ),
    Cause(
        "throttle_body",
        "Dirty throttle body or less power per air",
        "the idle integral rises in all gears together",
        "Neutral did not move with the gears in load, or a table was changed that day.",
        "Clean the throttle body; then look for friction, ignition and fuelling.",
    ),
    Cause(
        "air_leak",
        "Air leak, throttle stop or pedal zero",
        "the idle integral falls in all gears together; with a leak past the meter the trim rises too",
        "The trim did not rise while the integral fell: then look for a changed table or a moved stop.",
        "Look for an air leak behind the throttle; check throttle stop and pedal zero.",
    ),
    Cause(
        "propeller_load",
        "More load in gear",
        "the idle integral rises in gear only",
        "Neutral moved as well.",
        "Look at the propeller (fouled, changed, bent), for line round the shaft, and for gearcase drag.",
    ),
    Cause(
        "temperature_axis",
        "Feed-forward table's cold rows",
        "the integral depends on temperature as it did not before; warm idle has not moved",
        "Warm idle moved too: then it is not the cold rows alone.",
        "Compare the table's cold rows with the proposed cells; check the oil's grade.",
    ),
    Cause(
        "engagement_load",
        "Load at engagement",
        "speed dips or flares more around a shift, warm idle has not moved",
        "The integral in gear moved too: then the load itself changed.",
        "Check the in-gear add-on of the feed-forward table and the propeller.",
    ),
    Cause(
        "idle_margin",
        "Too little margin at idle",
        "the engine stalled in or out of gear",
        "The engine was stopped on purpose at the log's end.",
        "Keep the boat in until the cause is found; write down what was done, or log five clean runs.",
        runs_engine=True,
    ),
    Cause(
        "fuel_supply",
        "Fuel supply of this engine",
        "this engine's trim moves, its sibling's and the fleet's do not",
        "The sibling engine or most of the fleet moved the same way: then it is the fuel.",
        "Check fuel pressure and filter, injectors, air leaks and the lambda sensor.",
    ),
    Cause(
        "fuel_delivery",
        "Fuel that was delivered",
        "the trim of most engines moves on the same day",
        "The sibling engine, which burns the same fuel, did not move.",
        "Ask what was delivered and when; take a sample. Leave the engines' tables alone.",
    ),
    Cause(
        "weather",
        "Weather",
        "most engines move on the same day in something that is not fuelling",
        "It is fuelling that moved, or only one boat's engines did.",
        "Nothing on the engines; look again when the weather changes.",
    ),
    Cause(
        "calibration_change",
        "Calibration change",
        "the reading stepped when a target or table was changed",
        "The reading moved on after the change, so something else goes on.",
        "Check the new value against what the unit does; go back if it was not meant.",
    ),
    Cause(
        "wrong_unit",
        "Wrong unit",
        "a channel's values are ordinary in another unit",
        "Single samples only are out: then it is spikes, not a unit.",
        "Correct the unit in the channel map.",
    ),
    Cause(
        "swapped_channels",
        "Target and position swapped",
        "the position moves before its target does, shift after shift",
        "Only some shifts show it: then look at the channel itself.",
        "Exchange the columns of shift target and position in the channel map.",
    ),
    Cause(
        "swapped_engines",
        "Recorded under the other engine",
        "an engine's hours, targets and habits are those of another engine of its boat",
        "The hours run on without a jump under the engine's own name.",
        "Check which logger or column stands for which engine, and file the logs anew.",
    ),
    Cause(
        "cooling",
        "Cooling",
        "coolant is hotter than its limit or its baseline at hot idle",
        "The sensor reads high cold as well, or other temperatures do not follow.",
        "Check the tell-tale, the water pump and the thermostat before the next run.",
    ),
    Cause(
        "lubrication",
        "Lubrication",
        "oil pressure is below its limit or its baseline at hot idle",
        "The sensor reads low with the engine stopped, or the oil was hotter than usual.",
        "Check oil level and grade, then the pressure with a gauge, before the next run.",
    ),
    Cause(
        "unknown",
        "Cause not known",
        "the readings fit no pattern on this list",
        "One of the patterns on this list fits after all once more runs are in.",
        "Look at the readings themselves before acting on them.",
    ),
)

CAUSES: Final = MappingProxyType({cause.word: cause for cause in _ALL})
"""Every cause by its word."""
