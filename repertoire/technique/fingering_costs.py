"""What a fingering costs: one readable table, presets of character, limits of a player.

Costs are counted in ordinary shifts: 1 is a shift of one position, at medium speed, on
the beat, landing on the first finger. Everything else is weighed against it. The values
started from measurements of how professional violinists finger (pitch and duration
only); the terms that need a printed part (slur, tempo, trill, dynamics, vibrato) are
common practice, weighed by hand. `RULE_VERSION` is stored with each suggestion.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final, Literal

RULE_VERSION: Final = "left hand 3"

Preset = Literal["balanced", "low and clear", "on one string", "expressive shifts"]


@dataclass(frozen=True)
class Costs:
    """The cost table. Units: one ordinary shift. `sung` terms are multiplied by how sung the
    music is: the mean length of the notes around, in quarter notes, at most 1."""

    # shifting
    shift: float = 1.0
    shift_fast: float = 1.07  # among sixteenths and shorter
    shift_sung: float = 0.88
    shift_after_short_rest: float = 0.39
    shift_after_rest: float = 0.28  # a quarter rest or more
    shift_from_open: float = 0.77
    slide_semitone: float = 0.84  # same finger, same string, a half step
    slide_down: float = 0.22  # more where it goes down, unless it lands on 1
    further_position: float = 0.17
    bar_start: float = -0.05
    off_beat: float = 0.13
    down: float = 0.26
    down_on_first: float = -0.21
    up_on_second: float = 0.17
    up_on_third: float = 0.21
    up_on_fourth: float = -0.13
    with_leap: float = -0.27  # a melodic fourth or more
    in_slur: float = 0.10  # heard: more inside a slur, as much less at a new stroke
    into_open: float = 3.0  # moving before the open string: the hand waits where it was and moves while it sounds

    # crossing
    cross: float = 0.06
    cross_skip_one: float = 0.62
    cross_skip_two: float = 1.17
    cross_sung: float = 0.5
    cross_semitone: float = 0.35  # a half step split between two strings
    cross_tone: float = 0.3
    cross_in_slur: float = 0.05
    cross_repeated: float = 0.5  # a repeated note taken on another string

    # the frame of the hand
    same_finger: float = 0.55  # new pitch, same string, the hand stays
    same_finger_other_string: float = 0.74
    barred_fifth: float = 0.26
    extension: float = 0.42  # a semitone
    contraction: float = 0.58
    semitone_apart: float = 0.32  # a half step not taken by neighbouring fingers
    reach: float = 1.05  # fourth reaching forward, first reaching back
    reach_wide: float = 3.0  # more, each way, where it lies four half steps or more from the second
    crossed: float = 3.0  # a higher finger below a lower one
    fourth: float = 0.23
    new_finger_same_note: float = 0.45

    # places
    positions: tuple[float, ...] = (0.19, 0.0, 0.10, 0.03, 0.10, 0.11, 0.22, 0.27, 0.29)
    far_position: float = 0.05  # each position above the eighth
    open_short: float = -0.28  # shorter than an eighth
    open_long: float = 0.30  # a quarter or more
    open_sung: float = 0.17
    open_top: float = 0.11  # the bright top string
    respelled: float = 0.27  # read against its spelling or the key

    # what only a printed part tells
    trill_fourth: float = 4.0  # no finger is left above it on the string
    trill_open: float = 0.5
    vibrato_open: float = 2.0
    vibrato_fourth: float = 0.12
    soft_open_top: float = 0.15
    held: float = 2.0  # moving away under a finger that should stay down
    slide_crossed: float = 2.0
    slide_wanted: float = -0.6

    # double stops and chords
    chord_spread: float = 0.8  # a semitone beyond the frame, both fingers down
    chord_reach: float = 1.3  # reaching while another finger is down
    chord_bar: float = 0.35
    chord_slant: float = 1.6  # one finger on two places a half step apart
    chord_open: float = -0.45  # an open string beside a stopped one rings and frees the hand
    chord_swapped: float = 0.5  # the lower note on the higher string

    sharpness: float = 2.4  # how quickly a costlier fingering loses weight
    steadiness: float = 0.25  # share of agreement a cheaper hand is worth, in a bare list
    steady: float = 1.0  # in a written part: one hand that hangs together rather than the likeliest finger of each note


PRESETS: Final[Mapping[str, Costs]] = {
    "balanced": Costs(),
    "low and clear": replace(
        Costs(),
        shift=1.35, shift_fast=1.5, shift_sung=1.3, shift_from_open=1.05,
        positions=(0.3, 0.0, 0.45, 0.38, 0.6, 0.7, 0.8, 0.9, 1.0),
        cross_sung=0.1, cross_semitone=0.2, cross_tone=0.1,
        open_long=0.0, open_sung=-0.05, open_top=0.0, fourth=0.3,
    ),
    "on one string": replace(
        Costs(),
        shift=0.7, shift_fast=0.95, shift_sung=0.5, shift_from_open=0.7,
        down=0.18, up_on_second=0.08, up_on_third=0.12, slide_semitone=0.6,
        cross=0.4, cross_sung=0.95, cross_skip_one=1.2, cross_skip_two=2.0,
        positions=(0.3, 0.0, 0.05, 0.0, 0.05, 0.1, 0.2, 0.27, 0.32),
        open_short=0.0, open_long=0.8, open_sung=0.4,
    ),
    "expressive shifts": replace(
        Costs(),
        shift=0.8, shift_fast=1.07, shift_sung=0.35, shift_from_open=0.6, with_leap=-0.35, in_slur=-0.05,
        further_position=0.1, down=0.18,
        positions=(0.35, 0.04, 0.08, 0.0, 0.05, 0.11, 0.2, 0.27, 0.3),
        cross_sung=0.75, open_short=0.0, open_long=0.8, open_sung=0.4, open_top=0.25, fourth=0.35,
    ),
}  # fmt: skip

PRESET_WORDS: Final[Mapping[str, str]] = {
    "balanced": "Balanced",
    "low and clear": "Low and clear",
    "on one string": "On one string, sung",
    "expressive shifts": "With shifts for expression",
}


@dataclass(frozen=True)
class Limits:
    """What a player can or may do yet. None or False means no limit.

    `positions` are the positions known (0 is half position); `string` keeps the whole
    passage on one string (1 is I). `length` is the vibrating string length in mm.
    """

    highest: int | None = None
    positions: frozenset[int] | None = None
    extensions: bool = True
    small_hand: bool = False
    open_strings: Literal["", "wanted", "avoided"] = ""
    avoid_fourth: bool = False
    string: int | None = None

    def position_cost(self, position: int) -> float:
        """Extra cost of a position the player doesn't have."""
        extra = 0.0
        if self.highest is not None and position > self.highest:
            extra += 4.0 + position - self.highest
        if self.positions is not None and position not in self.positions:
            extra += 4.0
        return extra

    def adapt(self, costs: Costs) -> Costs:
        """The table as it holds for this player."""
        if self.small_hand:
            costs = replace(
                costs,
                extension=costs.extension * 1.8, reach=costs.reach * 1.8, fourth=costs.fourth + 0.15,
                chord_reach=costs.chord_reach * 1.8,
                chord_spread=costs.chord_spread * 2,
            )  # fmt: skip
        if not self.extensions:
            costs = replace(
                costs, reach=costs.reach + 4, chord_reach=costs.chord_reach + 4, extension=costs.extension + 1.5
            )
        if self.open_strings == "avoided":
            costs = replace(costs, open_short=costs.open_short + 3, open_long=costs.open_long + 3)
        elif self.open_strings == "wanted":
            costs = replace(
                costs, open_short=costs.open_short - 0.6, open_long=costs.open_long - 0.9, open_sung=0.0, open_top=0.0
            )
        if self.avoid_fourth:
            costs = replace(costs, fourth=costs.fourth + 2.5)
        return costs


NO_LIMITS: Final = Limits()
