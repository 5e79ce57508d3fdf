"""What to change in the calibration: the idle table's rows, its in-gear add-ons, and a shift target that never fitted.

Pure arithmetic on what was logged since the last change, said only where there is enough of it. A person decides.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline import wording
from pipeline.catalogue import Indicator, indicators, read_query
from pipeline.database import Database, rows
from pipeline.diagnosis import GEARS, is_from_commissioning
from pipeline.history import FloatArray
from pipeline.morning import Morning, assess
from pipeline.register import Register
from pipeline.states import State
from pipeline.statistics.level import spread

DEFAULT_ROWS_C: Final = (0.0, 20.0, 40.0, 60.0, 80.0, 100.0)
"""Rows of the idle table, °C, where the fleet file does not name an engine's own (`idle_rows_c`)."""

LAST_RUNS: Final = 10
"""Newest runs whose idle windows are read."""

FEWEST_WINDOWS: Final = 3.0
FEWEST_RUNS: Final = 3
"""Summed weight of windows, and runs, that a cell needs before it is changed: after several repeats, not after one
(common practice, no published source)."""

UNSETTLED_WEIGHT: Final = 1 / 3
"""What a window counts whose loop had not re-converged, as in the indicator itself."""

FEWEST_SHIFTS: Final = 10
FEWEST_SHIFT_RUNS: Final = 5
"""Shifts, and runs, before a target is proposed (common practice, no published source)."""

MOST_SCATTER: Final = 0.5
"""Run-to-run spread, in multiples of the watch limit, up to which a mismatch counts as constant (common practice)."""


@dataclass(frozen=True)
class Correction:
    """What to add to one cell, in % like the table. `change` is None where `reason` says why nothing is proposed.

    `measured` is the mean integral there, `standard_error` that of the change (None for fewer than two runs), from how
    far runs differ. `weight` sums the windows' shares of this cell. `is_called_for` says that the measured integral
    lies outside its wanted band: inside it the cell may stay as it is.
    """

    change: float | None
    measured: float | None
    standard_error: float | None
    weight: float
    windows: int
    runs: int
    is_called_for: bool
    reason: str | None


@dataclass(frozen=True)
class RowCorrection:
    """The correction of the table's row at `temp_c`."""

    temp_c: float
    correction: Correction


@dataclass(frozen=True)
class AddOnCorrection:
    """The correction of a gear's add-on; `from_rows` is what the corrected rows already give at those temperatures."""

    gear: str
    from_rows: float | None
    correction: Correction


@dataclass(frozen=True)
class TargetProposal:
    """A shift target to re-set. `reaches` is where the unit settles, in % of travel; None where `reason` says why not.

    `error` is the settled position less the target (None without a reading), `scatter` the spread of run medians.
    """

    gear: str
    target: float | None
    error: float | None
    reaches: float | None
    shifts: int
    runs: int
    scatter: float | None
    reason: str | None


@dataclass(frozen=True)
class Corrections:
    """Everything proposed for one engine. `since` is the last change, after which windows count; None: the first log.

    `warnings` say what to rule out first; `cautions` belong beside every proposal on any screen.
    """

    engine_id: str
    since: datetime | None
    rows: tuple[RowCorrection, ...]
    add_ons: tuple[AddOnCorrection, ...]
    targets: tuple[TargetProposal, ...]
    warnings: tuple[str, ...]
    cautions: tuple[str, ...] = wording.CAUTIONS


@dataclass(frozen=True, eq=False)
class Windows:
    """Idle windows of one gear, arrays of one length (n,): run, temperature (°C), integral (%), what each counts."""

    run: NDArray[np.object_]
    temp_c: FloatArray
    integral_pct: FloatArray
    weight: FloatArray


def corrections(
    db: Database, register: Register, engine_id: str, as_of: datetime, morning: Morning | None = None
) -> Corrections:
    """What an engine's newest logs say its calibration should be changed by; nothing later than `as_of` (aware) counts.

    Nothing that the judgement withholds counts either. `morning` is that judgement, where it is at hand; without it the
    fleet is assessed here. Raises KeyError for an engine that is not in the register.
    """
    engine = register.engine(engine_id)
    if morning is None:
        morning = assess(db, register, as_of)
    own = [state for state in morning.states if state.key.engine_id == engine_id]
    idle = {state.key.facet: state for state in own if state.key.indicator == "idle_integral"}
    reach = {state.key.facet: state for state in own if state.key.indicator == "shift_reach_error"}
    since = _since(list(idle.values()))
    withheld = morning.withheld.reasons(engine_id, "idle_integral")
    windows = _windows(db, engine_id, as_of, since, withheld)
    axis = engine.idle_rows_c or DEFAULT_ROWS_C
    indicator = indicators()["idle_integral"]
    found = row_corrections(windows.get("neutral", _NO_WINDOWS), axis, indicator)
    return Corrections(
        engine_id,
        since,
        found,
        tuple(add_on_correction(windows[gear], gear, found, indicator) for gear in GEARS[::2] if gear in windows),
        tuple(target_proposal(reach[gear]) for gear in GEARS if gear in reach),
        tuple(_warnings(list(idle.values()), withheld)),
    )


def new_cell(old: float, measured: float, wanted: float) -> float:
    """What a cell should hold: the old value plus the measured integral less the wanted one (common practice)."""
    return old + measured - wanted


def row_shares(temp_c: ArrayLike, rows_c: Sequence[float]) -> FloatArray:
    """Each row's interpolation weight at each temperature, shape (n, rows); beyond the axis the end row has it all.

    `rows_c` rise. A temperature's weights add up to 1.
    """
    return np.stack([np.interp(np.asarray(temp_c, dtype=np.float64), rows_c, row) for row in np.eye(len(rows_c))], 1)


def row_corrections(neutral: Windows, rows_c: Sequence[float], indicator: Indicator) -> tuple[RowCorrection, ...]:
    """The change of each row, from windows in neutral: a row owns a window's correction by its interpolation weight."""
    shares = row_shares(neutral.temp_c, rows_c)
    return tuple(
        RowCorrection(temp_c, _correction(neutral, share, neutral.integral_pct, "neutral", indicator))
        for temp_c, share in zip(rows_c, shares.T, strict=True)
    )


def add_on_correction(
    windows: Windows, gear: str, found: Sequence[RowCorrection], indicator: Indicator
) -> AddOnCorrection:
    """The change of a gear's add-on: its own correction less what the changed rows already give at those temperatures.

    A row that is not changed gives nothing. Where most of the windows lie on rows of which nothing is known, what
    belongs to the gear cannot be told from what belongs to the rows, and nothing is proposed.
    """
    shares = row_shares(windows.temp_c, [row.temp_c for row in found])
    is_known = np.asarray([row.correction.change is not None for row in found])
    given = shares @ np.asarray([row.correction.change or 0.0 for row in found])
    whole = np.ones(len(windows.run))
    correction = _correction(windows, whole, windows.integral_pct - given, gear, indicator)
    known_share = float(np.average(shares @ is_known, weights=windows.weight))
    if known_share < 0.5 and correction.change is not None:
        reason = "the neutral rows at these temperatures are not known, so the gear cannot be told from them"
        correction = _without_change(correction, reason)
    return AddOnCorrection(gear, float(np.average(given, weights=windows.weight)), correction)


def _correction(
    windows: Windows, share: FloatArray, integral_pct: FloatArray, gear: str, indicator: Indicator
) -> Correction:
    """The weighted mean of what the windows ask of one cell, with its evidence."""
    weight = windows.weight * share
    here = weight > 0
    runs = _run_weights(windows.run[here], weight[here])
    counted = int(np.count_nonzero(runs >= UNSETTLED_WEIGHT - 1e-9))
    total = float(weight.sum())
    if not total:
        return Correction(None, None, None, 0.0, 0, 0, is_called_for=False, reason="no idle window near it")
    measured, mean = (float(np.average(each, weights=weight)) for each in (windows.integral_pct, integral_pct))
    low, high = indicator.wanted[gear]
    is_enough = total >= FEWEST_WINDOWS - 1e-9 and counted >= FEWEST_RUNS
    return Correction(
        change=new_cell(0.0, mean, indicator.set_to[gear]) if is_enough else None,
        measured=measured,
        standard_error=_standard_error(windows.run[here], weight[here], integral_pct[here], mean),
        weight=total,
        windows=int(np.count_nonzero(here)),
        runs=counted,
        is_called_for=is_enough and not low <= mean <= high,
        reason=None if is_enough else _too_little(total, counted),
    )


def _too_little(weight: float, counted: int) -> str:
    needs = f"{FEWEST_WINDOWS:g} windows from {wording.count(FEWEST_RUNS, 'run')}"
    return f"too little: it needs {needs} and has {weight:.1f} from {counted}"


def _without_change(correction: Correction, reason: str) -> Correction:
    return Correction(**{**vars(correction), "change": None, "is_called_for": False, "reason": reason})


def _run_weights(run: NDArray[np.object_], weight: FloatArray) -> FloatArray:
    """The summed weight of each run."""
    names, place = np.unique(run.astype(str), return_inverse=True)
    return np.asarray(np.bincount(place, weights=weight, minlength=len(names)), dtype=np.float64)


def _standard_error(run: NDArray[np.object_], weight: FloatArray, value: FloatArray, mean: float) -> float | None:
    """Standard error of the weighted mean, windows of one run taken as one: they share that run's temperature and fuel.

    Ratio estimator over clusters, J / (J - 1) for J runs (Cochran 1977, Sampling Techniques, from memory).
    """
    off = _run_weights(run, weight * (value - mean))
    if off.size < 2:
        return None
    return math.sqrt(off.size / (off.size - 1) * float(off @ off)) / float(weight.sum())


def target_proposal(state: State) -> TargetProposal:
    """A target re-set to what the unit reaches, or why none is proposed; `state` is a gear's shift reach error."""
    moved = state.moved
    target = float(moved.series.setting[-1])
    shifts, runs = int(moved.series.n.sum()), len(moved.series)
    error = float(np.median(moved.values))
    scatter = spread(moved.values) if runs > 1 else None
    reason = _why_no_target(state, target, shifts, scatter)
    known = None if math.isnan(target) else target
    reaches = None if reason or known is None else round(known + error, 1)
    return TargetProposal(state.key.facet, known, error, reaches, shifts, runs, scatter, reason)


def _why_no_target(state: State, target: float, shifts: int, scatter: float | None) -> str | None:
    """Why moving this target would be wrong or too early, the strongest reason; None where it may be proposed."""
    moved, runs = state.moved, len(state.moved.series)
    is_loose = scatter is None or scatter > MOST_SCATTER * (state.limits.watch or 0.0)
    since, needs = wording.date(moved.started_at), f"{FEWEST_SHIFTS} shifts in {FEWEST_SHIFT_RUNS} runs"
    reasons = (
        (state.status == "ready", "within its limit: nothing to re-set"),
        (moved.pattern == "growing", "the error grows: that is wear, and moving the target would only hide it"),
        (
            moved.pattern == "step" or state.has_moved,
            "the error came at a date: look for what was done or what slipped, not at the target",
        ),
        (
            moved.reason != "commissioning",
            f"known only since {since}: a mismatch of the unit is there from commissioning on",
        ),
        (
            shifts < FEWEST_SHIFTS or runs < FEWEST_SHIFT_RUNS or moved.pattern == "new",
            f"too few repeats to call it constant: {shifts} shifts in {runs} runs, {needs} are the least",
        ),
        (is_loose, "it scatters: look for play before the target"),
        (not is_from_commissioning(state), "the newest runs differ from the first ones: see first whether that stays"),
        (math.isnan(target), "the target in force is not in the log"),
    )
    return next((reason for holds, reason in reasons if holds), None)


_NO_WINDOWS: Final = Windows(np.zeros(0, dtype=object), np.zeros(0), np.zeros(0), np.zeros(0))


def _windows(
    db: Database, engine_id: str, as_of: datetime, since: datetime | None, withheld: Mapping[str, str]
) -> dict[str, Windows]:
    """The windows of the newest believed runs that began at `since` or later, by gear."""
    asked = {"engine_id": engine_id, "as_of": as_of, "runs": LAST_RUNS, "withheld": list(withheld)}
    found = rows(db, read_query("marts", "idle_history"), asked)
    first_s = -math.inf if since is None else since.timestamp()
    grouped: dict[str, list[Mapping[str, Any]]] = {}
    for row in found:
        # a time in the database has microseconds, one that went through a float may have lost some
        if row["run_s"] >= first_s - 1e-3:
            grouped.setdefault(row["gear"], []).append(row)
    return {gear: windows_from(group) for gear, group in grouped.items()}


def windows_from(found: Sequence[Mapping[str, Any]]) -> Windows:
    """Windows from rows of `marts/idle_history`."""
    return Windows(
        np.asarray([row["run_id"] for row in found], dtype=object),
        np.asarray([row["temp_c"] for row in found], dtype=np.float64),
        np.asarray([row["integral_pct"] for row in found], dtype=np.float64),
        np.asarray([UNSETTLED_WEIGHT if row["is_unsettled"] else 1.0 for row in found]),
    )


def _since(idle: Sequence[State]) -> datetime | None:
    """When the newest comparison of any gear began anew: earlier windows were those of another table."""
    begun = [state.moved.started_at for state in idle if state.moved.reason != "commissioning"]
    return max(begun, default=None)


def _warnings(idle: Sequence[State], withheld: Mapping[str, str]) -> list[str]:
    """What to rule out before a table is changed, and which runs none of it rests on."""
    said = [f"{wording.withheld_says(withheld)} No cell rests on them."] if withheld else []
    for state in idle:
        name = wording.title(state.indicator, state.key.facet)
        if state.has_moved and state.moved.shift is not None:
            by = wording.number(state.moved.shift, state.indicator)
            said.append(f"{name} has moved by {by}: rule out dirt, air leak and load first; a table would hide it.")
        fleet = state.value - state.own
        if abs(fleet) >= state.indicator.resolution:
            by = wording.number(fleet, state.indicator)
            said.append(f"{name}: {by} of it came on the whole fleet at once. Do not put the weather into a table.")
    return said
