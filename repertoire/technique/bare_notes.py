"""A bare list of notes as moments: numbers without bars, slurs or names.

Times may be written (on a grid) or recorded. Recorded ones are read as a player would write
them down: a chord whose notes begin a little apart is one moment, notes that overlap a
little follow each other, a note let go early is still as long as its place, and silence
counts as a rest only where it is more than the playing around leaves between notes. Notes
that go on sounding under others stay under the hand.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from .moments import FREE, GRACE_LENGTH, Moment, Wish
from .spelling import keys_around, spell

_GRIDS: Final = (12, 16)  # notes a quarter: triplet sixteenths, sixty-fourths
_ON_GRID: Final = 0.006  # quarter notes
_WRITTEN: Final = 0.75  # share of times on the grid in a written list
_TOGETHER: Final = 0.12  # quarter notes between the notes of one recorded chord, at most
_OVERLAP: Final = 0.6  # of the shorter note, for two recorded notes to be a chord
_UNDER: Final = 0.75  # of a note that an earlier one sounds through, to be held under it
_LEAST_HELD: Final = 0.1
_NEAR_BEAT: Final = 0.1  # recorded; 0.01 written
_SILENCE: Final = 0.2
_AROUND: Final = 8
_VALUES: Final = np.array((0.0833, 0.125, 0.1667, 0.25, 0.3333, 0.5, 0.6667, 0.75, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0))
_SNAP: Final = 0.16  # as far as a note may lie from a written value, in proportion


@dataclass(frozen=True)
class _Times:
    """Onsets, sounding lengths and silence before each moment as they would be written."""

    starts: list[float]
    lengths: list[float]
    rests: list[float]


def moments_of_notes(
    midis: Sequence[int],
    onsets: Sequence[float],
    lengths: Sequence[float],
    strings: Sequence[int | None] = (),
    fingers: Sequence[int | None] = (),
) -> tuple[Moment, ...]:
    """Moments of a bare list: MIDI numbers, onsets and lengths in quarter notes.

    Notes that begin together are a double stop or chord. `strings` (1 to 4) and `fingers` (0
    to 4) are given marks, None where there is none. Addresses are the row numbers: `r0`, `r1`, …
    """
    if not len(midis):
        return ()
    order = sorted(range(len(midis)), key=lambda i: (onsets[i], midis[i]))
    recorded = not _on_grid([float(onsets[i]) for i in order])
    groups = _groups(order, midis, onsets, lengths, recorded)
    flat = [row for rows in groups for row in rows]
    times = _written(groups, onsets, lengths, recorded)
    durations = [length for rows, length in zip(groups, times.lengths, strict=True) for _ in rows]
    names = dict(zip(flat, spell([midis[i] for i in flat], durations), strict=True))
    keys = dict(zip(flat, keys_around([midis[i] for i in flat], durations).tolist(), strict=True))
    wishes = {row: _wish(row, strings, fingers) for row in flat}
    near = _NEAR_BEAT if recorded else 0.01
    out: list[Moment] = []
    sounding: list[int] = []
    for rows, start, length, rest in zip(groups, times.starts, times.lengths, times.rests, strict=True):
        under = _under(sounding, rows, onsets, lengths)
        together = sorted((*under, *rows), key=lambda row: midis[row])
        beat = start % 1.0
        out.append(
            Moment(
                addresses=tuple(f"r{row}" for row in together),
                pitches=tuple(names[row] for row in together),
                wishes=tuple(wishes[row] for row in together),
                time=start,
                length=length,
                felt=length,
                rest=rest,
                on_beat=beat < near or beat > 1 - near,
                key=keys[rows[0]],
                sustained=tuple(f"r{row}" for row in under),
            )
        )
        sounding = [*under, *rows]
    return tuple(out)


def _wish(row: int, strings: Sequence[int | None], fingers: Sequence[int | None]) -> Wish:
    string, finger = strings[row] if strings else None, fingers[row] if fingers else None
    return FREE if string is None and finger is None else Wish(finger, string)


def _on_grid(times: Sequence[float]) -> bool:
    """Whether times lie where written notes begin."""
    at = np.asarray(times)
    off = np.min([np.abs(at * grid - np.round(at * grid)) / grid for grid in _GRIDS], axis=0)
    return bool(np.mean(off <= _ON_GRID) >= _WRITTEN)


def _groups(
    order: Sequence[int], midis: Sequence[int], onsets: Sequence[float], lengths: Sequence[float], recorded: bool
) -> list[list[int]]:
    """Rows that begin together, in playing order, from below."""
    groups: list[list[int]] = []
    for row in order:
        if groups and _together(groups[-1], row, midis, onsets, lengths, recorded):
            groups[-1].append(row)
        else:
            groups.append([row])
    return [sorted(rows, key=lambda row: midis[row]) for rows in groups]


def _together(
    rows: Sequence[int],
    row: int,
    midis: Sequence[int],
    onsets: Sequence[float],
    lengths: Sequence[float],
    recorded: bool,
) -> bool:
    apart = onsets[row] - onsets[rows[0]]
    if apart < 1e-6:
        return True
    if not recorded or apart > _TOGETHER or len(rows) == 4 or any(midis[row] == midis[other] for other in rows):
        return False
    end = onsets[row] + lengths[row]
    return all(
        min(end, onsets[other] + lengths[other]) - onsets[row] >= _OVERLAP * min(lengths[row], lengths[other]) > 0
        for other in rows
    )


def _under(
    sounding: Sequence[int], rows: Sequence[int], onsets: Sequence[float], lengths: Sequence[float]
) -> tuple[int, ...]:
    """Earlier notes that sound through most of these."""
    if len(sounding) + len(rows) > 4 or not sounding:
        return ()
    start = max(onsets[row] for row in rows)
    length = min(lengths[row] for row in rows)
    if length < _LEAST_HELD:
        return ()
    return tuple(row for row in sounding if onsets[row] + lengths[row] >= start + _UNDER * length)


def _written(
    groups: Sequence[Sequence[int]], onsets: Sequence[float], lengths: Sequence[float], recorded: bool
) -> _Times:
    """When moments begin, how long they last and what silence lies before them."""
    starts = [float(min(onsets[row] for row in rows)) for rows in groups]
    longest = [float(max(lengths[row] for row in rows)) for rows in groups]
    if not recorded:
        rests, end = [8.0], starts[0] + (longest[0] or GRACE_LENGTH)
        for start, length in zip(starts[1:], longest[1:], strict=True):
            rests.append(max(0.0, start - end))
            end = max(end, start + (length or GRACE_LENGTH))
        return _Times(starts, [length or GRACE_LENGTH for length in longest], rests)
    steps = np.diff(starts, append=starts[-1] + max(longest[-1], GRACE_LENGTH))
    kept = np.minimum(np.asarray(longest) / np.maximum(steps, 1e-3), 1.0)
    rests, out = [8.0], []
    for n, (step, length) in enumerate(zip(steps.tolist(), longest, strict=True)):
        usual = float(np.median(kept[max(0, n - _AROUND) : n + _AROUND + 1]))
        silence = step - length
        rest = silence >= max(_SILENCE, 0.3 * step) and kept[n] < 0.7 * usual
        out.append(_value(length if rest else step))
        rests.append(silence if rest else 0.0)
    return _Times(starts, out, rests[: len(starts)])


def _value(length: float) -> float:
    """The written value nearest to a recorded length, if one is near."""
    if length <= 0.02:
        return GRACE_LENGTH
    nearest = float(_VALUES[np.argmin(np.abs(np.log(_VALUES / length)))])
    return nearest if abs(nearest - length) <= _SNAP * nearest else length
