"""A ladder of tempi from now to the goal: on the metronome's traditional steps, or in equal ratio.

The traditional steps are 40 to 60 by 2, to 72 by 3, to 120 by 4, to 144 by 6, to 208 by 8:
common practice. The goal closes every ladder, also where it is no step.
"""

from __future__ import annotations

from typing import Final

STEPS: Final[tuple[int, ...]] = (
    *range(40, 60, 2), *range(60, 72, 3), *range(72, 120, 4), *range(120, 144, 6), *range(144, 209, 8),
)  # fmt: skip
LADDERS: Final = (("metronome", "metronome steps"), ("equal", "equal steps"))
EQUAL_STEPS: Final = 6


class LadderError(ValueError):
    """Tempi no ladder leads between."""


def _check(now: int, goal: int) -> None:
    if now <= 0 or goal <= 0:
        raise LadderError("A tempo is above 0 beats a minute.")
    if goal < now:
        raise LadderError(f"The goal ({goal}) lies below the tempo now ({now}).")


def traditional(now: int, goal: int) -> tuple[int, ...]:
    """From now to the goal over the metronome's steps: 60 63 66 69 72 76 80 84 88 90. Raises LadderError."""
    _check(now, goal)
    between = [step for step in STEPS if now < step < goal]
    return (now, *between, goal) if goal > now else (goal,)


def equal_ratio(now: int, goal: int, steps: int) -> tuple[int, ...]:
    """From now to the goal in so many steps of one ratio, rounded; equal neighbours once. Raises LadderError."""
    _check(now, goal)
    if not 1 <= steps <= 40:
        raise LadderError("A ladder has 1 to 40 steps.")
    row = [round(now * (goal / now) ** (n / steps)) for n in range(steps + 1)]
    return tuple(dict.fromkeys(row))


def rungs(ladder: str, now: int | None, goal: int | None) -> tuple[int, ...]:
    """The tempi of a ladder by its name; none without one, or where now and goal leave nothing to climb."""
    if not ladder or not now or not goal or goal <= now:
        return ()
    return equal_ratio(now, goal, EQUAL_STEPS) if ladder == "equal" else traditional(now, goal)
