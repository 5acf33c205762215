"""Where the hand can be at one moment: string, finger and position for each note.

A choice is one way of playing a moment: every note on a string with a finger, the hand
in one diatonic position. On an open string the hand's place is remembered, so an open
note has one choice for each place the hand can wait in. In a double stop the fingers
must fit one hand: in order, not too far apart, two on one place only as a barred fifth.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from typing import Final

import numpy as np

from .fingering_costs import Costs, Limits
from .moments import FREE, Moment, Wish
from .pitch import Pitch
from .strings import HIGHEST_SEMITONES, open_strings

REMEMBERED: Final = range(10)  # places the hand may wait in over an open string
MOST_ROWS: Final = 60_000  # kept in memory for one engine
HIGHEST_ON_LOWER: Final = 10  # positions offered on strings II to IV, unless marked
FORWARD: Final = 5  # finger code of a fourth finger reaching forward
BACK: Final = 6  # of a first finger reaching back
FINGER_OF: Final = (0, 1, 2, 3, 4, 4, 1)
EXTENSION_OF: Final = (0, 0, 0, 0, 0, 1, -1)
_CODES: Final = {None: (1, 2, 3, 4, FORWARD, BACK), 1: (FORWARD,), -1: (BACK,)}
NORMAL_GAP: Final = {0: (0, 0), 1: (1, 2), 2: (3, 4), 3: (5, 5)}  # semitones between fingers so far apart
_NODES: Final = frozenset((3, 4, 5, 7, 9, 12, 15, 16, 17, 19, 24, 28, 31))  # places of natural harmonics


@dataclass(frozen=True, slots=True)
class Stop:
    """One note of a choice: string 1 to 4, finger code (see FINGER_OF), letter steps and
    semitones above the open string, read against its spelling or not. A natural harmonic
    may be marked with finger 0: the hand is free, as on an open string."""

    string: int
    code: int
    letters: int
    semitones: int
    respelled: bool = False

    @property
    def finger(self) -> int:
        return FINGER_OF[self.code]

    @property
    def extension(self) -> int:
        return EXTENSION_OF[self.code]

    @property
    def position(self) -> int:
        """The hand's position; −1 where the hand is free (open string)."""
        if self.code == 0:
            return -1
        return self.letters - FINGER_OF[self.code] + 1 - EXTENSION_OF[self.code]


@dataclass(frozen=True, slots=True)
class Choice:
    """One way of playing a moment: its stops from the lowest note up, and the hand's position."""

    stops: tuple[Stop, ...]
    position: int
    frame: float = 0.0  # cost of holding these fingers together


def gap_bounds(low: int, high: int) -> tuple[int, int]:
    """Least and most semitones between two finger codes (the lower finger first) unstrained. A reach opens
    the hand by one or two; between first and second finger three is the most."""
    least, most = NORMAL_GAP[abs(FINGER_OF[high] - FINGER_OF[low])]
    if high == FORWARD and low != FORWARD:
        least, most = least + 1, most + 2
    if low == BACK and high != BACK:
        least, most = least + 1, most + (1 if FINGER_OF[high] == 2 else 2)
    return least, most


_SCALE: Final = (0, 2, 4, 5, 7, 9, 10)  # half steps to each letter step above an open string, the commonest


@lru_cache(maxsize=8192)
def readings(letters: int, semitones: int, alter: int) -> tuple[tuple[int, bool], ...]:
    """Letter steps a note can be read as: as written, and its other name for a black key where
    that is a common one (a fourth finger a half step above its place is a reach, not a new name)."""
    other = letters + alter
    if abs(alter) != 1 or other < 0:
        return ((letters, False),)
    usual = 12 * (other // 7) + _SCALE[other % 7]
    most = usual + 1 if other % 7 in (3, 6) else usual
    return ((letters, False), (other, True)) if usual - 1 <= semitones <= most else ((letters, False),)


def stops_of(pitch: Pitch, wish: Wish, opens: Sequence[Pitch], highest: int = HIGHEST_ON_LOWER) -> Iterator[Stop]:
    """Every way one note can be stopped or played open, within what is marked."""
    for string, open_note in enumerate(opens, 1):
        if wish.string not in (None, string):
            continue
        semitones = pitch.midi - open_note.midi
        if not 0 <= semitones <= HIGHEST_SEMITONES:
            continue
        letters = pitch.step - open_note.step
        natural = wish.harmonic == "natural"
        if natural and semitones not in _NODES:
            continue
        as_open = (semitones == 0 and wish.harmonic != "artificial") or (
            wish.finger == 0 and (natural or semitones in (12, 24))
        )
        if as_open and wish.finger in (None, 0) and wish.extension is None:
            yield Stop(string, 0, letters, semitones)
        if semitones == 0 or wish.finger == 0:
            continue
        for steps, respelled in readings(letters, semitones, pitch.alter):
            for code in _CODES[wish.extension]:
                if wish.finger not in (None, FINGER_OF[code]):
                    continue
                if wish.harmonic == "artificial" and wish.finger is None and code != 1:
                    continue  # the first finger stops, the fourth touches
                stop = Stop(string, code, steps, semitones, respelled)
                place = stop.position
                least = 1 if code == FORWARD else 2 if code == BACK else 0
                if place < least or (string > 1 and place > highest):
                    continue
                if place == 0 and semitones > 6:
                    continue
                yield stop


@lru_cache(maxsize=8192)
def _all_stops(pitch: Pitch, wish: Wish, opens: tuple[Pitch, ...]) -> tuple[Stop, ...]:
    return tuple(stops_of(pitch, wish, opens))


def frame_cost(stops: Sequence[Stop], costs: Costs) -> float | None:
    """Cost of holding stopped notes together in one hand; None when they can't be.

    Notes on neighbouring strings must be held together; notes further apart in a broken
    chord may be released, so their strain counts half.
    """
    total = 0.0
    stopped = [s for s in stops if s.code]
    for place, one in enumerate(stopped):
        for other in stopped[place + 1 :]:
            share = 1.0 if abs(one.string - other.string) == 1 else 0.5
            low, high = (one, other) if one.finger <= other.finger else (other, one)
            gap = high.semitones - low.semitones
            if low.finger == high.finger:
                if low.code != high.code or abs(one.string - other.string) > 1:
                    return None
                if gap == 0:
                    total += costs.chord_bar
                elif abs(gap) == 1 and not low.extension:
                    total += costs.chord_slant
                else:
                    return None
                continue
            least, most = gap_bounds(low.code, high.code)
            beyond, short = max(0, gap - most), max(0, least - gap)
            far = max(low.position, 0)  # a semitone gets shorter up the string
            reachable = 4 if {low.finger, high.finger} == {1, 4} else 2
            if (beyond > reachable + far // 4 or short > 2) and share == 1.0:
                return None
            total += share * (costs.chord_spread * beyond * max(0.4, 1 - 0.07 * far) + costs.contraction * short)
    return total


def choices_of(
    pitches: Sequence[Pitch], wishes: Sequence[Wish], opens: Sequence[Pitch], costs: Costs
) -> tuple[Choice, ...]:
    """All choices for a moment; empty when there is none."""
    if len(pitches) == 1:
        single = list(stops_of(pitches[0], wishes[0], opens)) or list(stops_of(pitches[0], wishes[0], opens, 40))
        return tuple(
            Choice((stop,), place)
            for stop in single
            for place in (REMEMBERED if stop.code == 0 else (stop.position,))
        )  # fmt: skip
    options = [_all_stops(p, w, tuple(opens)) for p, w in zip(pitches, wishes, strict=True)]
    found: list[Choice] = []
    for place in sorted({stop.position for each in options for stop in each}):
        here = [[s for s in each if not s.code or s.position == place] for each in options]
        for stops in product(*here) if all(here) else ():
            if any(s.code for s in stops) != (place >= 0):
                continue  # all open: only where no finger has a place
            cost = _chord_cost(stops, costs)
            if cost is not None:
                found += [Choice(stops, hand, cost) for hand in ((place,) if place >= 0 else REMEMBERED)]
    return tuple(found)


def _chord_cost(stops: Sequence[Stop], costs: Costs) -> float | None:
    """Cost of the notes of a chord in one hand; None when they can't be, or lie on strings apart."""
    strings = sorted(s.string for s in stops)
    if strings != list(range(strings[0], strings[0] + len(stops))):
        return None
    swapped = any(stops[i].string < stops[i + 1].string for i in range(len(stops) - 1))
    if swapped and len(stops) > 2:
        return None
    cost = frame_cost(stops, costs)
    return None if cost is None else cost + costs.chord_swapped * swapped


class ChoiceTable:
    """Choices of all moments met so far as rows of arrays, so that a passage is a gather.

    Columns of `ints`: position; string, finger code and semitones of the lowest note; the
    same of the highest; a label of strings and fingers. `features` are in `_features`.
    """

    def __init__(self, instrument: str, costs: Costs, limits: Limits) -> None:
        self.instrument = instrument
        self.opens = open_strings(instrument)
        self.costs = costs
        self.limits = limits
        self.choices: list[Choice] = []
        self._spans: dict[tuple[tuple[Pitch, ...], tuple[Wish, ...]], tuple[int, int]] = {}
        self._ints: list[tuple[int, ...]] = []
        self._floats: list[tuple[float, ...]] = []
        self.ints: np.ndarray = np.zeros((0, 8), np.int32)
        self.features: np.ndarray = np.zeros((0, 4), np.float32)

    def spans(self, moments: Iterable[Moment]) -> list[tuple[int, int]]:
        """First row and number of rows of each moment's choices (0 rows: it can't be played)."""
        out = []
        known = self._spans
        for moment in moments:
            key = (moment.pitches, moment.wishes)
            span = known.get(key)
            if span is None:
                span = known[key] = self._add(*key)
            out.append(span)
        known_rows = len(self.ints)
        if len(self._ints) != known_rows:
            self.ints = np.concatenate((self.ints, np.array(self._ints[known_rows:], np.int32)))
            self.features = np.concatenate((self.features, np.array(self._floats[known_rows:], np.float32)))
        return out

    def trim(self) -> None:
        """Start afresh when too many different notes and marks have been met."""
        if len(self.choices) > MOST_ROWS:
            self.__init__(self.instrument, self.costs, self.limits)  # type: ignore[misc]

    def _add(self, pitches: tuple[Pitch, ...], wishes: tuple[Wish, ...]) -> tuple[int, int]:
        start = len(self.choices)
        found = choices_of(pitches, wishes, self.opens, self.costs)
        for choice in found:
            self.choices.append(choice)
            low, high = choice.stops[0], choice.stops[-1]
            label = low.string * 5 + low.finger
            if len(choice.stops) > 1:
                label = label * 25 + high.string * 5 + high.finger
            self._ints.append(
                (choice.position, low.string, low.code, low.semitones, high.string, high.code, high.semitones, label)
            )
            self._floats.append(self._features(choice, wishes))
        return start, len(found)

    def _features(self, choice: Choice, wishes: Sequence[Wish]) -> tuple[float, ...]:
        """Settled cost, and the shares of open, open top-string and fourth-finger notes."""
        costs, count = self.costs, len(choice.stops)
        opens = [s for s in choice.stops if s.code == 0]
        cost = choice.frame
        if len(opens) < count:
            last = len(costs.positions) - 1
            cost += costs.positions[min(choice.position, last)]
            cost += costs.far_position * max(0, choice.position - last)
            cost += self.limits.position_cost(choice.position)
        if count > 1:
            cost += costs.chord_open * len(opens) / count
        for stop, wish in zip(choice.stops, wishes, strict=True):
            if stop.extension:
                cost += costs.reach if count == 1 else costs.chord_reach
            if stop.respelled:
                cost += costs.respelled / count
            if stop.finger == 4 and wish.finger is None:
                cost += costs.fourth / count
            if self.limits.string not in (None, stop.string) and wish == FREE:
                cost += 12.0
        return (
            cost,
            len(opens) / count,
            sum(s.string == 1 for s in opens) / count,
            sum(s.finger == 4 for s in choice.stops) / count,
        )
