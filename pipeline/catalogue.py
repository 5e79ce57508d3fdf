"""Reads `sql/**.sql`: each file is one table, its opening comment a TOML header that says what it is.

Everything that shows or judges an indicator reads its title, unit, limits and sources from here.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field

SQL_FOLDER: Final = Path(__file__).parent / "sql"

Worse = Literal["away", "higher", "lower"]
"""Which way is worse: away from what is wanted, upwards, or downwards."""

Against = Literal["limits", "baseline", "any", "presence"]
"""What the readings are judged against: limits, their own baseline, any single occurrence, or being there at all."""


class Limits(BaseModel):
    """Distances from what is wanted at which an engine is watched or held; None where no limit is set."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    watch: float | None = None
    hold: float | None = None


class Judged(BaseModel):
    """How readings become a state; `clean_runs` is how many later runs without an occurrence clear one."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    against: Against = "limits"
    clean_runs: int | None = None


class Drift(BaseModel):
    """How far the like-for-like level may move from its baseline before it is watched; a share of it if `is_share`."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    watch: float | None = None
    is_share: bool = False


class Indicator(BaseModel):
    """One indicator as its header declares it. `wanted` is the band by facet; without one, zero is wanted.

    `set_to` is the value inside that band that a correction is made for (common practice, no published source).
    `resolution` is how finely a reading can be told. `priors` are the slope on a covariate expected before any reading
    and how far it may be off (1 sd), in reading units per covariate unit: common practice, no published source.
    A `kind` of 'share' says that a reading counts some of `n` tries, so that its level is the share over several runs.
    `looks_back` says that neighbouring readings share most of what they rest on. `rests_on` are the channels without
    which a reading says nothing, for any facet or by the facet's first word.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")
    name: str
    title: str
    unit: str
    decimals: int
    facet: str
    worse: Worse
    meaning: str
    caveat: str
    do: str
    source: str
    minimum_n: int
    resolution: float
    covariates: tuple[Literal["temp_c", "battery_v"], ...] = ()
    limits: Limits = Field(default_factory=Limits)
    wanted: Mapping[str, tuple[float, float]] = Field(default_factory=lambda: MappingProxyType({}))
    set_to: Mapping[str, float] = Field(default_factory=lambda: MappingProxyType({}))
    looks_back: bool = False
    kind: Literal["level", "share"] = "level"
    rests_on: Mapping[str, tuple[str, ...]] = Field(default_factory=lambda: MappingProxyType({}))
    drift: Drift = Field(default_factory=Drift)
    priors: Mapping[str, tuple[float, float]] = Field(default_factory=lambda: MappingProxyType({}))
    judged: Judged = Field(default_factory=Judged)


@cache
def indicators() -> Mapping[str, Indicator]:
    """Every indicator by name, in alphabetical order. Raises ValueError where a header is incomplete or misspelt."""
    names = sorted(path.stem for path in (SQL_FOLDER / "indicators").glob("*.sql"))
    return MappingProxyType({name: Indicator(name=name, **read_header("indicators", name)) for name in names})


@cache
def read_query(schema: str, name: str) -> str:
    """The query of one SQL file, without its header."""
    return _parts(schema, name)[1]


def read_header(schema: str, name: str) -> Mapping[str, Any]:
    """The TOML header of one SQL file."""
    return tomllib.loads(_parts(schema, name)[0])


def _parts(schema: str, name: str) -> tuple[str, str]:
    text = (SQL_FOLDER / schema / f"{name}.sql").read_text(encoding="utf-8")
    if not text.startswith("/*") or "*/" not in text:
        raise ValueError(f"sql/{schema}/{name}.sql must open with a /* TOML */ header")
    header, query = text[2:].split("*/", 1)
    return header, query.strip()
