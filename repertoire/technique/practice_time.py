"""Minutes of practice: dividing them over the week's work, and where a break belongs.

Minutes are shared out by weight with the largest remainder. A break comes after 25 to 30
minutes of playing: British performing-arts medicine guidance speaks of five minutes every
half hour (from memory); sooner for children is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence

PLAY_AT_MOST = 25  # minutes before a break
CHILD_PLAY_AT_MOST = 15
CHILD_UNTIL = 11  # years of age


def divide_minutes(total: int, weights: Sequence[int]) -> tuple[int, ...]:
    """Share whole minutes by weight; they add up to `total`, and equal remainders go to the earlier.

    Raises ValueError without weights, or for negative ones.
    """
    if not weights or min(weights) < 0 or sum(weights) == 0 or total < 0:
        raise ValueError("Minutes are shared by weights of which at least one is above 0.")
    whole = sum(weights)
    shares = [divmod(total * weight, whole) for weight in weights]
    minutes = [share for share, _ in shares]
    by_remainder = sorted(range(len(weights)), key=lambda i: (-shares[i][1], i))
    for i in by_remainder[: total - sum(minutes)]:
        minutes[i] += 1
    return tuple(minutes)


def playing_limit(age: int | None) -> int:
    """Minutes to play before a break, at an age in years (None for unknown or grown-up)."""
    return CHILD_PLAY_AT_MOST if age is not None and age <= CHILD_UNTIL else PLAY_AT_MOST


def break_after(minutes: Sequence[int], limit: int) -> tuple[int, ...]:
    """Indexes (from 0) of the items after which a break belongs, so that no stretch of playing
    is longer than `limit` minutes where the items allow it. None after the last item, and none
    where all that is left takes a fifth more than the limit at most (30 minutes at 25)."""
    out: list[int] = []
    played = 0
    for i, length in enumerate(minutes[:-1]):
        played += length
        if 5 * (played + sum(minutes[i + 1 :])) <= 6 * limit:
            break
        if played + minutes[i + 1] > limit:
            out.append(i)
            played = 0
    return tuple(out)
