"""What a bar is read into before addresses are known: notes, bars and marks in the making.

Exact times, ties and addresses need the whole bar or the whole movement; until then notes
are drafts. `finish` turns the drafts of one movement into a `Line` and its printed marks,
mends ties that don't meet, and says what was left out.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Literal

from repertoire.technique.line import Bar, Event, Grace, Line, Value
from repertoire.technique.marks import Kind, Mark, MarkError, Marks
from repertoire.technique.pitch import Pitch

ZERO = Fraction(0)


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Something in the file that isn't kept: the printed bars it stands in, and what it is.

    `bar` lists the bars ("3, 7, 12 and 5 more"); `movement` counts from 1.
    """

    bar: str
    what: str
    movement: int = 1
    count: int = 1


@dataclass(slots=True, eq=False)
class Member:
    """One notehead of a draft."""

    pitch: Pitch
    tied_from: bool = False
    tied_to: bool = False
    accidental: str = ""


@dataclass(slots=True, eq=False)
class Draft:
    """A note, chord or rest in the making; `bar` is the index in the movement from 1."""

    bar: int
    onset: Fraction
    duration: Fraction
    value: Value
    voice: int
    grace: Grace = ""
    grace_place: int = 0
    members: list[Member] = field(default_factory=list)
    beams: tuple[str, ...] = ()
    tuplet_ends: tuple[str, ...] = ()
    stem: Literal["", "up", "down", "none"] = ""
    whole_bar: bool = False
    cue: bool = False
    tremolo: int = 0
    tremolo_pair: Literal["", "start", "stop"] = ""
    address: str = ""

    @property
    def order(self) -> tuple[int, Fraction, bool, int, int]:
        return (self.bar, self.onset, not self.grace, self.grace_place, self.voice)

    @property
    def end(self) -> Fraction:
        return self.onset + self.duration


@dataclass(slots=True, eq=False)
class DraftMark:
    """A mark on drafts; a member is the notehead it stands on, None for the whole event."""

    kind: Kind
    at: Draft
    value: str = ""
    to: Draft | None = None
    options: tuple[tuple[str, str], ...] = ()
    at_member: Member | None = None
    to_member: Member | None = None


@dataclass(slots=True, eq=False)
class DraftBar:
    """A bar in the making: what is printed, and whether the file counts it."""

    bar: Bar
    number: str
    implicit: bool
    full: Fraction  # what the meter asks for
    place: int  # among the bars of the part in the file, from 0


@dataclass(slots=True, eq=False)
class DraftMovement:
    """Bars, notes and marks of one movement, and what was left out by bar index (0: none)."""

    bars: list[DraftBar] = field(default_factory=list)
    drafts: list[Draft] = field(default_factory=list)
    marks: list[DraftMark] = field(default_factory=list)
    lost: dict[str, list[int]] = field(default_factory=dict)
    heading: str = ""

    def leave_out(self, what: str, bar: int | None = None) -> None:
        self.lost.setdefault(what, []).append(len(self.bars) + 1 if bar is None else bar)


def finish(movement: DraftMovement, part: str, instrument: str) -> tuple[Line, Marks]:
    """The line and the printed marks of a movement; adds to what was left out."""
    bars = _numbered(_measured(movement))
    _join_ties(movement, bars)
    events = tuple(_event(d) for d in movement.drafts)
    marks: set[Mark] = set()
    for draft in movement.marks:
        try:
            marks.add(_mark(draft))
        except MarkError as error:
            movement.leave_out(str(error), draft.at.bar)
    return Line(bars, events, movement.heading, part, instrument), tuple(sorted(marks))


def left_out(movement: DraftMovement, bars: Iterable[Bar], number: int) -> list[LeftOut]:
    """What was left out, one entry a kind, with the printed numbers of its bars."""
    names = {b.index: b.number for b in bars}
    out = []
    for what, where in movement.lost.items():
        shown = list(dict.fromkeys(names[i] for i in where if i in names))
        text = ", ".join(shown[:12]) + (f" and {len(shown) - 12} more" if len(shown) > 12 else "")
        out.append(LeftOut(text, what, number, len(where)))
    return out


def _event(draft: Draft) -> Event:
    members = draft.members
    signs = tuple(m.accidental for m in members)
    return Event(
        address=draft.address,
        bar=draft.bar,
        onset=draft.onset,
        duration=draft.duration,
        pitches=tuple(m.pitch for m in members),
        value=draft.value,
        voice=draft.voice,
        grace=draft.grace,
        tied_from=tuple(m.tied_from for m in members),
        tied_to=tuple(m.tied_to for m in members),
        beams=draft.beams,
        tuplet_ends=draft.tuplet_ends,
        stem=draft.stem,
        whole_bar=draft.whole_bar,
        cue=draft.cue,
        tremolo=draft.tremolo,
        tremolo_pair=draft.tremolo_pair,
        accidentals=signs if any(signs) else (),
    )


def _address(draft: Draft, member: Member | None) -> str:
    if member is None or len(draft.members) < 2:
        return draft.address
    return f"{draft.address}p{next(i for i, m in enumerate(draft.members, 1) if m is member)}"


def _mark(draft: DraftMark) -> Mark:
    to = _address(draft.to, draft.to_member) if draft.to else ""
    return Mark(draft.kind, _address(draft.at, draft.at_member), draft.value, to, draft.options)


def _measured(movement: DraftMovement) -> list[DraftBar]:
    """The bars with what an upbeat lacks; bars that don't add up are reported.

    A short bar is an upbeat when it opens the movement, when the file doesn't count it, or
    when it completes the short bar before it (a bar split by a repeat).
    """
    bars = movement.bars
    out: list[DraftBar] = []
    for i, draft in enumerate(bars):
        bar, short = draft.bar, draft.full - draft.bar.length
        before = out[-1] if out else None
        after = bars[i + 1] if i + 1 < len(bars) else None
        completes = before is not None and before.bar.length + bar.length == draft.full and before.full == draft.full
        completed = after is not None and bar.length + after.bar.length == draft.full and after.full == draft.full
        missing = ZERO
        if short > 0:
            opens = before is None and not (completed and after is not None and after.implicit and not draft.implicit)
            if opens or completes or (draft.implicit and not completed):
                missing = short
            elif not (draft.implicit or after is None or completed or bar.ending or bar.barline or bar.repeat_end):
                movement.leave_out("The bar is shorter than its time signature asks for; it is kept as it is.", i + 1)
        elif short < 0:
            movement.leave_out("The bar is longer than its time signature allows; it is kept as it is.", i + 1)
        out.append(replace_bar(draft, missing=missing))
    return out


def replace_bar(draft: DraftBar, **changes: object) -> DraftBar:
    return DraftBar(replace(draft.bar, **changes), draft.number, draft.implicit, draft.full, draft.place)  # type: ignore[arg-type]


def _numbered(drafts: list[DraftBar]) -> tuple[Bar, ...]:
    """Bars with the number a reader counts. A bar the file leaves uncounted has no number of
    its own: it shares that of the bar it completes, or takes a letter (79a, 79b)."""
    out: list[Bar] = []
    letters = 0
    base = "0"
    for draft in drafts:
        bar, number = draft.bar, draft.number
        own = number and not (number[:1] in "Xx" and number[1:].isdigit())
        if own:
            base, letters = number, 0
        elif out and bar.missing and out[-1].length == bar.missing:
            number = out[-1].number
        else:
            number = f"{base}{_letters(letters)}"
            letters += 1
        out.append(replace(bar, number=number))
    return tuple(out)


def _letters(n: int) -> str:
    return chr(97 + n) if n < 26 else _letters(n // 26 - 1) + chr(97 + n % 26)


def _join_ties(movement: DraftMovement, bars: tuple[Bar, ...]) -> None:
    """See that each tie has both its notes; mend what is half written, report the rest.

    A tie may change the spelling (G♯ to A♭). A tie into a second ending or back to a repeat
    has its other note elsewhere on the page and stays as it is.
    """
    start = {b.index: b.onset for b in bars}
    arriving: dict[tuple[Fraction, int], list[tuple[Draft, Member]]] = {}
    for draft in movement.drafts:
        for member in draft.members:
            arriving.setdefault((start[draft.bar] + draft.onset, member.pitch.midi), []).append((draft, member))
    met: set[int] = set()
    for draft in movement.drafts:
        for member in draft.members:
            if not member.tied_to:
                continue
            choices = [
                (d, m)
                for d, m in arriving.get((start[draft.bar] + draft.end, member.pitch.midi), ())
                if m is not member and id(m) not in met and draft.order < d.order
            ]
            choices = [c for c in choices if c[1].tied_from or c[1].pitch == member.pitch]
            choices.sort(key=lambda c: (not c[1].tied_from, c[1].pitch != member.pitch, c[0].voice != draft.voice))
            if choices:
                choices[0][1].tied_from = True
                met.add(id(choices[0][1]))
            elif not _leads_away(draft, bars):
                member.tied_to = False
                movement.leave_out("A tie has no second note.", draft.bar)
    for draft in movement.drafts:
        for member in draft.members:
            if member.tied_from and id(member) not in met and not _comes_from_elsewhere(draft, bars):
                member.tied_from = False
                movement.leave_out("A tie has no first note.", draft.bar)


def _leads_away(draft: Draft, bars: tuple[Bar, ...]) -> bool:
    bar = bars[draft.bar - 1]
    after = bars[draft.bar] if draft.bar < len(bars) else None
    return draft.end == bar.length and bool(bar.repeat_end or bar.jump or (after and after.ending))


def _comes_from_elsewhere(draft: Draft, bars: tuple[Bar, ...]) -> bool:
    bar = bars[draft.bar - 1]
    before = bars[draft.bar - 2] if draft.bar > 1 else None
    return draft.onset == 0 and bool(
        bar.repeat_start or (before and (before.repeat_end or (bar.ending and bar.ending != before.ending)))
    )
