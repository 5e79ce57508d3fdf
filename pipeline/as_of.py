"""What an `--as-of`, or an as-of in an address, means: one reading of it for the command line and the screens."""

from __future__ import annotations

from contextlib import suppress
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo


def moment_of(text: str, zone: ZoneInfo) -> datetime | None:
    """An aware moment: a date is the end of that day in the zone, a time without offset is local to it.

    None where the text is neither, or lies outside what a calendar holds.
    """
    with suppress(ValueError):
        day = date.fromisoformat(text)
        with suppress(OverflowError):
            return datetime.combine(day + timedelta(days=1), time(), zone) - timedelta(microseconds=1)
        return None
    with suppress(ValueError, OverflowError):
        found = datetime.fromisoformat(text)
        found = found if found.tzinfo else found.replace(tzinfo=zone)
        found.astimezone(UTC)
        return found
    return None
