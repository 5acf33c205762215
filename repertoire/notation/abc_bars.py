"""The bars of one voice of ABC in the making: values, beams, barlines and what a bar prints.

Notes come in one by one with their nominal length; at the barline the bar is closed, values
are found for its lengths, and notes written without a space between them are beamed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from repertoire.technique.line import Bar, Clef, ClefName, Meter, TempoMark, Value, beat_label

from .drafts import ZERO, Draft, DraftBar
from .values import fitting, nearest_below

BARLINE = re.compile(r"\.?:*(?:\[\|\]|\[\||\|)(?:[|]|\])*:*|:{2,}")
_BEAMS = {"eighth": 1, "16th": 2, "32nd": 3, "64th": 4, "128th": 5, "256th": 6}


@dataclass(frozen=True, slots=True)
class Barline:
    """What a barline says: style at its right end as in MusicXML, and repeats."""

    style: str = ""
    ends: int = 0  # times the part before it is played, 0 where no repeat ends
    starts: bool = False

    @classmethod
    def read(cls, text: str) -> Barline:
        if "|" not in text:
            return cls("", 2, True)
        core = text.strip(":")
        colons = len(text.lstrip(".")) - len(text.lstrip(".:"))
        ends, starts = min(colons + 1, 20) if colons else 0, text.endswith(":")
        if ends or (starts and core in ("|", "[|", "||")):
            style = "light-light" if core == "||" and not ends else ""
        elif core == "[|]":
            style = "none"
        elif text.startswith("."):
            style = "dotted"
        else:
            style = {"||": "light-light", "|]": "light-heavy", "[|": "heavy-light"}.get(core, "")
        return cls(style, ends, starts)

    @property
    def ends_section(self) -> bool:
        """True where a first or second ending comes to its close."""
        return self.ends > 0 or self.starts or self.style in ("light-light", "light-heavy", "heavy-light")


@dataclass(slots=True, eq=False)
class Heard:
    """A note, chord or rest with the length it was written with, in quarter notes."""

    draft: Draft
    nominal: Fraction
    ratio: tuple[int, int] | None
    place: tuple[int, int]


@dataclass(slots=True)
class BarState:
    """What is in force as bars go by, and what the present bar prints anew."""

    meter: Meter | None
    sharps: int
    mode: str
    clef: ClefName
    key_shown: bool = True
    meter_shown: bool = True
    ending: tuple[int, ...] = ()
    repeat_start: bool = False
    rehearsal: str = ""


def values_of(heard: list[Heard], full: Fraction) -> list[Heard]:
    """Give each note its written value; returns those whose length no single sign has."""
    if len(heard) == 1 and not heard[0].draft.members and heard[0].draft.duration == full:
        heard[0].draft.whole_bar = True
        heard[0].draft.value = Value("whole")
        return []
    unwritten = []
    for one in heard:
        value = fitting(one.nominal)
        if value is None:
            unwritten.append(one)
            value = nearest_below(one.nominal)
        one.draft.value = value if one.ratio is None else Value(value.type, value.dots, one.ratio)
    return unwritten


def beam(group: list[Draft]) -> None:
    """Beam the notes of a group that have flags, as far as they stand together."""
    run: list[Draft] = []
    for draft in [*group, None]:
        if draft is not None and draft.value.type in _BEAMS:
            run.append(draft)
            continue
        if len(run) > 1:
            counts = [0, *(_BEAMS[d.value.type] for d in run), 0]
            for place, one in enumerate(run, 1):
                before, own, after = counts[place - 1 : place + 2]
                one.beams = tuple(_beam_sign(level, before, after, place == 1) for level in range(1, own + 1))
        run = []


def _beam_sign(level: int, before: int, after: int, first: bool) -> str:
    if level <= before:
        return "continue" if level <= after else "end"
    if level <= after:
        return "begin"
    return "forward hook" if first else "backward hook"


def close_bar(
    state: BarState, index: int, drafts: list[Draft], clefs: list[Clef], tempos: list[TempoMark], jump: str,
    barline: Barline, onset: Fraction, length: Fraction,
) -> DraftBar:  # fmt: skip
    """The bar with everything in force in it; its number is found when all bars are there."""
    drafts.sort(key=lambda d: d.order)
    for place, draft in enumerate(drafts, 1):
        draft.members.sort(key=lambda m: (m.pitch.step, m.pitch.alter))
        draft.address = f"b{index}n{place}"
    bar = Bar(
        index=index,
        number="",
        onset=onset,
        length=length,
        meter=state.meter or Meter(),
        key=state.sharps,
        mode=state.mode,
        clefs=tuple(sorted((c for c in clefs if c.onset < length), key=lambda c: c.onset)),
        repeat_start=state.repeat_start,
        repeat_end=barline.ends,
        ending=state.ending,
        barline=barline.style,
        jump=jump,
        rehearsal=state.rehearsal,
        tempos=tuple(tempos),
        key_shown=state.key_shown,
        meter_shown=state.meter_shown and state.meter is not None,
    )
    full = state.meter.length if state.meter else length
    return DraftBar(bar, "", False, full, index - 1)


def numbered(bars: list[DraftBar]) -> None:
    """Number the bars as a reader counts them: an upbeat is 0, the second part of a bar that a
    repeat splits isn't counted."""
    number = 0
    split = False
    for place, draft in enumerate(bars):
        before = bars[place - 1] if place else None
        short = draft.bar.length < draft.full
        completes = (
            before is not None and not split and short and place > 1
            and before.bar.length + draft.bar.length == draft.full == before.full
        )  # fmt: skip
        if place == 0 and short and len(bars) > 1:
            draft.number, draft.implicit = "0", True
        elif completes:
            draft.number, draft.implicit = f"X{place}", True
        else:
            number += 1
            draft.number = str(number)
        split = completes


def ill_measured(bars: list[DraftBar]) -> list[tuple[int, str]]:
    """Bars (by index from 1) that don't add up, with a sentence. Upbeats and bars parted by a
    repeat are as they should be."""
    upbeats = {d.bar.length for i, d in enumerate(bars) if d.bar.length < d.full and (not i or d.bar.repeat_start)}
    out = []
    for place, draft in enumerate(bars):
        length, full = draft.bar.length, draft.full
        after = bars[place + 1] if place + 1 < len(bars) else None
        if length == full or draft.implicit or (not place and length < full):
            continue
        parted = after is not None and (after.implicit or after.bar.length < after.full) and (
            length + after.bar.length == full
        )  # fmt: skip
        ends = after is None or draft.bar.repeat_end or draft.bar.barline or after.bar.repeat_start
        starts = draft.bar.repeat_start and length < full
        if length < full and (parted or starts or (ends and full - length in upbeats)):
            continue
        what = "short" if length < full else "long"
        out.append(
            (
                place + 1,
                f"The bar is too {what} for {draft.bar.meter}: {_quarters(length)} instead of {_quarters(full)}.",
            )
        )
    return out


def _quarters(length: Fraction) -> str:
    whole, rest = divmod(length, 1)
    if not whole:
        return f"{rest} of a quarter note"
    return f"{beat_label(length)} quarter note{'' if length == 1 else 's'}"


def to_onset(tempos: list[tuple[str, Value | None, Fraction | None]], onset: Fraction) -> list[TempoMark]:
    return [TempoMark(onset, words, unit, number) for words, unit, number in tempos]


__all__ = [
    "BARLINE", "ZERO", "BarState", "Barline", "Heard", "beam", "close_bar", "ill_measured", "numbered", "to_onset",
    "values_of",
]  # fmt: skip
