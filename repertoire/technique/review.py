"""When an old piece is due again: growing gaps, shortened by a failure, deferred by a holiday.

Gaps of 1, 3, 7, 14 and 30 days, then 30 again: common practice. From 1 March 2026 they lead to
2, 5, 12 and 26 March and 25 April. A recital caps: the last review before it isn't later than
three days ahead of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from typing import Final

GAPS: Final = (1, 3, 7, 14, 30)  # days
BEFORE_RECITAL: Final = 3

Holiday = tuple[date, date]  # first and last day away


def review_dates(start: date, *, count: int = len(GAPS), holidays: Iterable[Holiday] = (), recital: date | None = None
) -> tuple[date, ...]:  # fmt: skip
    """The next review dates when each goes well."""
    out: list[date] = []
    day = start
    for number in range(count):
        day = next_review(day, number, holidays=holidays, recital=recital)
        if out and day <= out[-1]:
            break
        out.append(day)
    return tuple(out)


def gap_after(outcomes: Sequence[bool]) -> int:
    """Which gap (from 0) follows a row of reviews, True for one that held: a success takes the next
    gap, a failure goes two back."""
    place = 0
    for held in outcomes:
        place = min(place + 1, len(GAPS) - 1) if held else max(0, place - 2)
    return place


def next_review(
    last: date, gap: int, *, holidays: Iterable[Holiday] = (), recital: date | None = None
) -> date:  # fmt: skip
    """The day after a gap (its number from 0). A day in a holiday moves behind it; a recital draws it ahead.

    After the recital the gaps go on as before.
    """
    day = last + timedelta(days=GAPS[min(max(gap, 0), len(GAPS) - 1)])
    for first, until in sorted(holidays):
        if first <= day <= until:
            day = until + timedelta(days=1)
    if recital is not None and last < recital:
        latest = recital - timedelta(days=BEFORE_RECITAL)
        if day > latest:
            day = max(latest, last + timedelta(days=1))
    return day
