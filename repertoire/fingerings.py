"""Possible fingerings of a passage or some of its bars, as offers a teacher can take.

Each alternative is a whole hand of its own character, written with the marks a player would
need. What lies outside the bars asked for stays as it is, and so does whatever is written
inside them unless the teacher asks for fresh ones.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from repertoire.bounds import Bounds
from repertoire.left_hand import Said, choices_said, hand
from repertoire.models import Passage, Suggestion
from repertoire.notation.cutting import cut, marks_in
from repertoire.players import Player
from repertoire.suggesting import Offer
from repertoire.technique.fingering import Fingering, FingeringError
from repertoire.technique.fingering_alternatives import (
    Alternative,
    Restriction,
    alternatives_of,
    on_string,
)
from repertoire.technique.fingering_costs import PRESET_WORDS, RULE_VERSION, Limits
from repertoire.technique.fingering_marks import LEFT_HAND_KINDS, HowMany, write
from repertoire.technique.fingering_selection import joins, within
from repertoire.technique.left_hand import shifts
from repertoire.technique.line import Line, event_address
from repertoire.technique.marks import Marks
from repertoire.technique.moments import moments_of
from repertoire.technique.strings import StringError, position_label

HOW_MANY: Final[tuple[tuple[HowMany, str], ...]] = (
    ("fewer", "fewer: just enough to read it"),
    ("usual", "as many as a player would"),
    ("more", "more: also before shifts and at each bar"),
    ("all", "every finger"),
)
PRESETS: Final = tuple(PRESET_WORDS.items())
COMPLETED: Final = "completed from what is written"
_SHOWN: Final = 3


def how_many_of(key: str) -> HowMany:
    """How many marks a form asks for; as many as usual when it doesn't say."""
    return next((known for known, _ in HOW_MANY if known == key), "usual")


@dataclass(frozen=True)
class Question:
    """What is asked for. `bounds` None is the whole passage; `fresh` leaves out the left-hand
    marks that are written there; `reading` is the character the pages complete marks with."""

    marks: Marks
    player: Player
    preset: str
    how_many: HowMany = "usual"
    bounds: Bounds | None = None
    fresh: bool = False
    reading: str = ""


@dataclass(frozen=True)
class Possible:
    """One alternative: the letter it stands under, what it says, and its marks in these bars;
    `joins` says how the hand comes into the bars and goes on from them."""

    letter: str
    alternative: Alternative
    marks: Marks
    offer: Offer
    joins: tuple[str, ...] = ()

    @property
    def fingering(self) -> Fingering:
        """The whole hand, saying of each note whether it is among the marks written."""
        written = {m.at for m in self.marks if m.kind in LEFT_HAND_KINDS}
        found = self.alternative.fingering
        return replace(
            found,
            placements=tuple(
                replace(p, marked=p.address in written or event_address(p.address) in written) for p in found.placements
            ),
        )

    @property
    def facts(self) -> tuple[tuple[str, str], ...]:
        """Facts as (name, value), in the same order for each."""
        told = self.alternative.facts
        heard = f" ({told.shifts_heard} heard in a slur)" if told.shifts_heard else ""
        return (
            ("Shifts", f"{told.shifts}{heard}"),
            ("Highest position", position_label(told.highest_position).removesuffix(" position")),
            ("Strings", ", ".join(told.strings)),
            ("String crossings", str(told.crossings)),
            ("Open strings", str(told.open_strings)),
            ("Stretches", str(told.stretches)),
            ("Notes without vibrato", str(told.without_vibrato)),
            ("Fourth fingers", str(told.fourth_fingers)),
        )

    @property
    def shifts(self) -> tuple[tuple[str, str], ...]:
        """Where it shifts, in words."""
        found = self.alternative.fingering
        return tuple((found.where(s.end.address), s.sentence) for s in shifts(found))


@dataclass(frozen=True)
class Answer:
    """The alternatives for some bars, whether one string carries them, and what is open; `narrow`
    where what is written leaves fewer alternatives than are shown."""

    line: Line
    possible: tuple[Possible, ...]
    strings: tuple[Restriction, ...]
    open_choices: tuple[Said, ...]
    trouble: str = ""
    narrow: bool = False


def ask(passage: Passage, line: Line, question: Question) -> Answer:
    """At most three possible fingerings. `trouble` says why there are none."""
    bars = line
    if question.bounds is not None:
        at = question.bounds
        bars = cut(line, at.start_bar, at.start, at.end_bar, at.end)
    player = question.player
    inside = frozenset(member for event in bars.events for member in event.members)
    marks = _asked_of(question, bars) if question.fresh else question.marks
    try:
        moments = moments_of(line, marks)
        if question.bounds is not None:
            around = hand(line, question.marks, player, preset=question.reading or question.preset)
            moments = within(moments, around, inside) if around else moments
        found = alternatives_of(
            moments,
            player.instrument,
            count=_SHOWN,
            first=question.preset,
            limits=player.limits,
            length=player.length,
            line=line,
            inside=inside,
        )
        strings = tuple(
            on_string(bars, marks_in(marks, bars), n, player.instrument, limits=player.limits, length=player.length)
            for n in (1, 2, 3, 4)
        )
    except (FingeringError, StringError) as error:
        return Answer(bars, (), (), (), trouble=str(error))
    possible = []
    for letter, alternative in zip("ABC", found, strict=False):
        whole = write(line, marks, alternative.whole, question.how_many, inside=inside, reading=question.reading)
        written = marks_in(whole, bars)
        sentences = tuple(join.sentence for join in joins(alternative.whole, inside))
        possible.append(Possible(letter, alternative, written, _offer(alternative.title, whole, question), sentences))
    pinned = not question.fresh and any(m.kind in LEFT_HAND_KINDS for m in marks_in(marks, bars))
    open_choices = choices_said(found[0].fingering) if found else ()
    return Answer(bars, tuple(possible), strings, open_choices, narrow=pinned and len(found) < _SHOWN)


def _asked_of(question: Question, bars: Line) -> Marks:
    """The marks without those of the left hand in the bars asked for."""
    return tuple(m for m in question.marks if m.kind not in LEFT_HAND_KINDS or event_address(m.at) not in bars)


def completion(line: Line, marks: Marks, player: Player, *, preset: str, how_many: HowMany = "usual") -> Offer | None:
    """What is written, completed with the marks a player would need; None where nothing can be."""
    fingering = hand(line, marks, player, preset=preset)
    if fingering is None:
        return None
    question = Question(marks, player, preset, how_many)
    written = write(line, marks, fingering, how_many, reading=preset)
    return _offer(COMPLETED, written, question)


def _offer(character: str, marks: Marks, question: Question) -> Offer:
    bars = question.bounds
    asked: dict[str, Any] = {
        "preset": question.preset,
        "how_many": question.how_many,
        "fresh": question.fresh,
        "bars": f"{bars.first_number}–{bars.last_number}" if bars else "",
        "instrument": question.player.instrument,
        "length_mm": question.player.length,
        "limits": _limits(question.player.limits),
    }
    return Offer(Suggestion.Aspect.LEFT_HAND, character, RULE_VERSION, marks, asked)


def _limits(limits: Limits) -> Mapping[str, Any]:
    return {
        "highest": limits.highest,
        "positions": sorted(limits.positions) if limits.positions is not None else None,
        "extensions": limits.extensions,
        "small_hand": limits.small_hand,
        "open_strings": limits.open_strings,
        "avoid_fourth": limits.avoid_fourth,
    }
