"""Numbers and days as they stand in an address or a form: what can't be meant is read as nothing."""

from __future__ import annotations

from datetime import date
from typing import Final

FIRST_YEAR: Final = 1900
LAST_YEAR: Final = 2199  # far enough for any lesson, and a week or a month further is still a date


def read_number(words: str) -> int | None:
    """A whole number from 0, written in the digits 0 to 9, that fits the database; None for all else."""
    return int(words) if words.isascii() and words.isdigit() and len(words) < 18 else None


def read_day(words: str) -> date | None:
    """A day written 2026-11-25; None for one that isn't in the calendar or lies out of all reach."""
    try:
        day = date.fromisoformat(words)
    except ValueError:
        return None
    return day if FIRST_YEAR <= day.year <= LAST_YEAR else None
