"""The search: costs of all moves as arrays, agreement by forward–backward, the best path.

The cost of a passage is a sum over its moments and the moves between them. Read as log
weights, forward–backward gives for each note the share of weight its every (string,
finger) has; the path chosen is the coherent one with the most summed agreement, a little
steadied by its cost. One programme of first order; no look further back was worth it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from threading import Lock
from typing import Final

import numpy as np

from .fingering_costs import Costs, Limits
from .fingering_states import BACK, FINGER_OF, ChoiceTable, gap_bounds
from .moments import Moment

_CODES: Final = 7
_SPREAD: Final = 12  # semitones and positions kept apart in the tables, either way
_WIDTH: Final = 2 * _SPREAD + 1
_FAR: Final = 40.0
_LET_GO: Final = 8.0  # a note that goes on sounding is taken over by another finger or string


def _moved(costs: Costs, first: int, second: int, by: int, gap: int, same_string: bool) -> float:
    """Cost of a change of position beyond the shift itself."""
    if second == 0:
        return costs.into_open - 1.0 + costs.further_position * (abs(by) - 1)
    landing = FINGER_OF[second]
    cost = costs.further_position * (abs(by) - 1)
    if same_string and first == second and abs(gap) == 1:
        slid = cost + costs.slide_semitone - costs.shift
        return slid + (costs.slide_down if by < 0 and landing > 1 else 0.0)
    if by < 0:
        cost += costs.down + (costs.down_on_first if landing == 1 else 0.0)
    else:
        cost += (0.0, 0.0, costs.up_on_second, costs.up_on_third, costs.up_on_fourth)[landing]
    if same_string and gap == 0 and FINGER_OF[first] != landing:
        cost += costs.new_finger_same_note
    return cost


def _stayed(costs: Costs, first: int, second: int, gap: int, same_string: bool) -> float:
    """Cost of two fingers in one position."""
    if first == 0 or second == 0:
        return 0.0
    low, high = FINGER_OF[first], FINGER_OF[second]
    if low == high and first == second:
        if same_string:
            return 0.0 if gap == 0 else costs.same_finger * (1.0 + 1.2 * (abs(gap) - 1))
        if gap == 0:
            return costs.barred_fifth
        return costs.same_finger_other_string
    if low == high:  # the same finger, reaching and not
        return costs.same_finger
    if low > high:
        first, second, gap = second, first, -gap
    least, most = gap_bounds(first, second)
    if same_string and gap <= 0:
        return costs.new_finger_same_note + 0.45 if gap == 0 else costs.crossed
    cost = costs.extension * max(0, gap - most) + costs.contraction * max(0, least - gap)
    if first == BACK and FINGER_OF[second] == 2 and gap > most:
        cost += costs.reach_wide
    if same_string and gap == 1 and abs(low - high) != 1:
        cost += costs.semitone_apart
    return min(cost, 4.0)


@lru_cache(maxsize=64)
def move_table(costs: Costs) -> np.ndarray:
    """Costs by (same string or not, finger codes from and to, positions moved, semitones apart),
    flat, float32; without the cost of the shift itself, which depends on the moment."""
    table = np.zeros((2, _CODES, _CODES, _WIDTH, _WIDTH), np.float32)
    either_way = range(-_SPREAD, _SPREAD + 1)
    for same in (0, 1):
        for first in range(_CODES):
            for second in range(_CODES):
                cell = table[same, first, second]
                for by in either_way:
                    cell[by + _SPREAD, :] = _moved(costs, first, second, by, _SPREAD, bool(same))
                    for gap in (-1, 0, 1):  # a repeated note and a half step have their own costs
                        cell[by + _SPREAD, gap + _SPREAD] = _moved(costs, first, second, by, gap, bool(same))
                cell[_SPREAD, :] = [_stayed(costs, first, second, gap, bool(same)) for gap in either_way]
    return table.reshape(-1)


@dataclass(frozen=True)
class Context:
    """What each moment adds, as arrays over the moments."""

    shift: np.ndarray  # (notes,) cost of a shift onto this note from a stopped note
    shift_open: np.ndarray  # from an open string
    cross: np.ndarray  # (notes, 2 faces, 4) cost by strings apart
    features: np.ndarray  # (notes, 4) weight of each feature of a choice


def context_of(moments: Sequence[Moment], costs: Costs) -> Context:
    """Costs that depend on length, rests, slurs, place in the bar, trills and wishes."""
    felt = np.array([m.felt for m in moments])
    count = len(felt)
    sums = np.concatenate(([0.0], np.cumsum(np.minimum(felt, 2.0))))
    places = np.arange(count)
    first, last = np.maximum(places - 8, 0), np.minimum(places + 9, count)
    sung = np.minimum((sums[last] - sums[first]) / (last - first), 1.0)
    rest = np.array([m.rest for m in moments])
    flags = np.array(
        [
            (
                m.bar_start, m.on_beat, m.slurred, m.trill, m.vibrato, m.held, m.slide, m.soft, m.second_half,
                m.pitches[0].midi, m.pitches[-1].midi,
            )
            for m in moments
        ],
        float,
    )  # fmt: skip
    bar_start, on_beat, slurred, trill, vibrato, held, slide, soft, half, low, high = flags.T
    before = np.concatenate((felt[:1], felt[:-1]))
    fast = np.minimum(before, felt) <= 0.26
    pace = np.where(fast, costs.shift_fast, costs.shift + (costs.shift_sung - costs.shift) * sung)
    if slurred.any():
        pace = pace + costs.in_slur * (2 * slurred - 1)
    shift = np.where(rest >= 0.95, costs.shift_after_rest, np.where(rest > 0.1, costs.shift_after_short_rest, pace))
    steps = np.abs(np.stack((np.diff(low, prepend=low[0]), np.diff(high, prepend=high[0])), axis=1))
    extra = np.where(bar_start > 0, costs.bar_start, np.where(on_beat > 0, 0.0, costs.off_beat))
    extra = extra + costs.with_leap * (steps.min(axis=1) >= 5) + costs.held * held + costs.slide_wanted * slide
    extra = np.where(half > 0, -0.6, extra)
    shift_open = np.minimum(shift, costs.shift_from_open) + extra
    near = costs.cross + costs.cross_sung * sung * np.where(rest > 0.5, 0.5, 1.0) + costs.cross_in_slur * slurred
    near = near + costs.slide_crossed * slide + 4.0 * half
    cross = np.zeros((count, 2, 4))
    for face in (0, 1):
        split = costs.cross_semitone * (steps[:, face] == 1) + costs.cross_tone * (steps[:, face] == 2)
        split = split + costs.cross_repeated * (steps[:, face] == 0)
        cross[:, face, 1] = near + split
        cross[:, face, 2] = near + split + costs.cross_skip_one
        cross[:, face, 3] = near + split + costs.cross_skip_two
    length = np.where(felt < 0.45, costs.open_short, np.where(felt >= 0.95, costs.open_long, 0.0))
    weights = np.ones((count, 4))
    weights[:, 1] = length + costs.open_sung * sung + costs.trill_open * trill + costs.vibrato_open * vibrato
    weights[:, 2] = costs.open_top + costs.soft_open_top * soft
    weights[:, 3] = costs.trill_fourth * trill + costs.vibrato_fourth * vibrato
    return Context(shift + extra, shift_open, cross, weights)


@dataclass(frozen=True)
class Path:
    """A decoded passage: for each moment the row of its choice, the agreement with it, its
    strongest rivals as (label, weight), and the total cost."""

    rows: list[int]
    weights: list[float]
    rivals: list[list[tuple[int, float]]]
    cost: float


EMPTY: Final = Path([], [], [], 0.0)


class Engine:
    """One instrument, cost table and player; keeps what it has worked out about notes."""

    def __init__(self, instrument: str, costs: Costs, limits: Limits) -> None:
        self.costs = limits.adapt(costs)
        self.table = ChoiceTable(instrument, self.costs, limits)
        self.moves = move_table(self.costs)
        self.lock = Lock()  # the table grows while it is read

    def decode(self, moments: Sequence[Moment], spans: Sequence[tuple[int, int]]) -> Path:
        """The coherent path with the most agreement; every span must have at least one row."""
        context = context_of(moments, self.costs)
        starts = np.array([s for s, _ in spans])
        sizes = np.array([n for _, n in spans])
        width = int(sizes.max())
        across = np.arange(width)
        rows = starts[:, None] + np.minimum(across, sizes[:, None] - 1)
        absent = across >= sizes[:, None]
        ints = self.table.ints[rows]
        unary = np.einsum("nsf,nf->ns", self.table.features[rows], context.features.astype(np.float32))
        unary[absent] = _FAR
        costs = self._moves(ints, context, chords=np.array([len(m.pitches) > 1 for m in moments]))
        self._sustain(costs, moments, rows)
        return self._best(rows, ints[:, :, 7], unary, costs, absent)

    def _moves(self, ints: np.ndarray, context: Context, chords: np.ndarray) -> np.ndarray:
        """(moments − 1, choices, choices) float32: cost of each move."""
        by = ints[1:, None, :, 0] - ints[:-1, :, None, 0]
        moved = by != 0
        step = (np.clip(by, -_SPREAD, _SPREAD) + _SPREAD).astype(np.int32)
        leaving_open = ints[:-1, :, 2] == 0
        shift = np.where(leaving_open, context.shift_open[1:, None], context.shift[1:, None]).astype(np.float32)
        out = self._face(ints, context, 0, step)
        double = np.flatnonzero(chords[1:] | chords[:-1])
        if double.size:
            out[double] = 0.5 * (out[double] + self._face(ints, context, 1, step, double))
        out += moved * shift[:, :, None]
        return out

    def _sustain(self, moves: np.ndarray, moments: Sequence[Moment], rows: np.ndarray) -> None:
        """Hold notes that go on sounding under others to their string and finger, in place."""
        for place, moment in enumerate(moments):
            before = moments[place - 1].addresses
            for address in moment.sustained if place else ():
                if address in before:
                    was = self._stops(rows[place - 1], before.index(address))
                    now = self._stops(rows[place], moment.addresses.index(address))
                    moves[place - 1] += np.float32(_LET_GO) * (was[:, None] != now)

    def _stops(self, rows: np.ndarray, member: int) -> np.ndarray:
        """String and finger code of one member in each choice of a moment, as one number."""
        stops = (self.table.choices[row].stops[member] for row in rows.tolist())
        return np.array([stop.string * 8 + stop.code for stop in stops])

    def _face(
        self, ints: np.ndarray, context: Context, face: int, step: np.ndarray, only: np.ndarray | None = None
    ) -> np.ndarray:
        """Moves as the lowest (face 0) or highest note of each moment meets them."""
        before, after, cross = ints[:-1], ints[1:], context.cross[1:, face]
        if only is not None:
            before, after, cross, step = before[only], after[only], cross[only], step[only]
        string, code, semi = 1 + 3 * face, 2 + 3 * face, 3 + 3 * face
        apart = np.abs(after[:, None, :, string] - before[:, :, None, string])
        gap = np.clip(after[:, None, :, semi] - before[:, :, None, semi], -_SPREAD, _SPREAD)
        index = step * _WIDTH + gap
        index += (before[:, :, code] * (_CODES * _WIDTH * _WIDTH) + _SPREAD)[:, :, None]
        index += (after[:, :, code] * (_WIDTH * _WIDTH))[:, None, :]
        index += (apart == 0) * np.int32(_CODES * _CODES * _WIDTH * _WIDTH)
        out = self.moves.take(index)
        apart += np.arange(0, 4 * len(apart), 4, dtype=np.int32)[:, None, None]
        out += cross.astype(np.float32).reshape(-1).take(apart)
        return out

    def _best(
        self, rows: np.ndarray, labels: np.ndarray, unary: np.ndarray, moves: np.ndarray, absent: np.ndarray
    ) -> Path:
        count, width = rows.shape
        sharp = self.costs.sharpness
        joint = moves + unary[1:, None, :]
        weight = np.exp(-sharp * joint)
        first = np.exp(-sharp * (unary[0] - unary[0].min())).astype(np.float64)
        weight = weight.astype(np.float64)
        forward = np.empty((count, width))
        forward[0] = first / first.sum()
        here = forward[0]
        for n in range(1, count):
            here = here @ weight[n - 1]
            here /= here.sum() or 1.0
            forward[n] = here
        backward = np.ones((count, width))
        here = backward[-1]
        for n in range(count - 2, -1, -1):
            here = weight[n] @ here
            here /= here.max() or 1.0
            backward[n] = here
        share = forward * backward
        share /= share.sum(axis=1, keepdims=True)
        same = labels[:, :, None] == labels[:, None, :]
        agreed = np.einsum("nst,nt->ns", same, share)
        gain = agreed - self.costs.steadiness * unary
        gain[absent] = -1e6
        steady = moves * np.float32(-self.costs.steadiness)
        steady += gain[1:, None, :].astype(np.float32)
        total = gain[0].astype(np.float32)
        came = np.empty((count, width), np.int64)
        columns = np.arange(width)
        for n in range(1, count):
            reach = total[:, None] + steady[n - 1]
            back = reach.argmax(axis=0)
            total = reach[back, columns]
            came[n] = back
        place = int(total.argmax())
        path = [0] * count
        for n in range(count - 1, -1, -1):
            path[n] = place
            place = int(came[n, place])
        at = np.arange(count)
        chosen = np.array(path)
        cost = float(unary[at, chosen].sum() + moves[at[:-1], chosen[:-1], chosen[1:]].sum())
        return Path(
            rows[at, chosen].tolist(),
            np.minimum(agreed[at, chosen], 1.0).tolist(),
            self._rivals(labels, agreed, absent),
            cost,
        )

    @staticmethod
    def _rivals(labels: np.ndarray, agreed: np.ndarray, absent: np.ndarray) -> list[list[tuple[int, float]]]:
        agreed = np.where(absent, -1.0, agreed)
        order = np.argsort(-agreed, axis=1)
        names = np.take_along_axis(labels, order, 1).tolist()
        weights = np.take_along_axis(agreed, order, 1).tolist()
        out = []
        for row_names, row_weights in zip(names, weights, strict=True):
            seen: dict[int, float] = {}
            for name, weight in zip(row_names, row_weights, strict=True):
                if weight < 0.05 or len(seen) == 3:
                    break
                seen.setdefault(name, weight)
            out.append(list(seen.items()))
        return out


@lru_cache(maxsize=64)
def engine(instrument: str, costs: Costs, limits: Limits) -> Engine:
    """The engine for an instrument, a cost table and a player; kept between calls."""
    return Engine(instrument, costs, limits)
