"""Where in the bow every note falls, as the teacher marked it.

The reading "as marked" takes the amounts and parts of the bow that are marked, and the even
reading elsewhere: rate = 1 ÷ beats of the longest stroke, a first down-bow starting at 0, a
first up-bow at 1. Places are exact fractions, frog 0 to tip 1; where the bow runs out the
place stays at the edge and the spot is told. Conventions of this reading:

- a retake, and a direction repeated after a rest, start at 0 for down and 1 for up;
- after a rest the other direction starts as near to where the bow was as the stroke fits;
- a tremolo is bowed about one place; a fermata counts its written length, its speed unknown;
- an amount on a stroke's first note is the stroke's, on a later note that note's own.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property

from .bow_words import share_word
from .line import Line, beat_label, event_address
from .marks import Kind
from .strokes import Bowing, Direction, Finding, FindingKind, Moment, Stroke, StrokeKind, finding
from .tempi import Tempi

PARTS: dict[str, tuple[Fraction, Fraction]] = {
    "whole": (Fraction(0), Fraction(1)),
    "upper half": (Fraction(1, 2), Fraction(1)),
    "lower half": (Fraction(0), Fraction(1, 2)),
    "middle": (Fraction(1, 4), Fraction(3, 4)),
    "frog": (Fraction(0), Fraction(1, 4)),
    "tip": (Fraction(3, 4), Fraction(1)),
}


@dataclass(frozen=True, slots=True)
class NotePlace:
    """A note's stretch of the bow. `share` is what it asks for, which is more than the distance
    from `start` to `end` where the bow runs out. `seconds` and `speed` (mm a second) are None
    where the length is open."""

    address: str
    pass_number: int
    stroke: int
    direction: Direction
    start: Fraction
    end: Fraction
    share: Fraction
    seconds: Fraction | None
    speed: float | None


@dataclass(frozen=True, slots=True)
class StrokePlace:
    """A stroke's stretch of the bow. `runs_out` tells after how many quarter notes of the stroke
    the bow ends, or None; `runs_out_at` is the note on which it does."""

    number: int
    direction: Direction
    start: Fraction
    end: Fraction
    share: Fraction
    seconds: Fraction | None
    speed: float | None
    runs_out: Fraction | None = None
    runs_out_at: str = ""


@dataclass(frozen=True)
class Placed:
    """All places of one reading ("as marked" or "planned"), begun at `tempo` quarters a minute.
    Pizzicato notes have none."""

    reading: str
    strokes: tuple[StrokePlace, ...]
    notes: tuple[NotePlace, ...]
    findings: tuple[Finding, ...]
    tempo: Fraction
    hair_mm: float
    rate: Fraction = field(default=Fraction(0))  # share a quarter note of the even reading

    @cached_property
    def _at(self) -> dict[tuple[str, int], NotePlace]:
        return {(n.address, n.pass_number): n for n in self.notes}

    def note(self, address: str, pass_number: int = 1) -> NotePlace | None:
        return self._at.get((event_address(address), pass_number))

    def stroke(self, number: int) -> StrokePlace:
        return self.strokes[number - 1]


@dataclass(frozen=True, slots=True)
class Wish:
    """What the teacher fixed for a stroke: a share, and a part of the bow (low, high)."""

    share: Fraction | None = None
    part: str = ""

    @property
    def span(self) -> tuple[Fraction, Fraction]:
        return PARTS[self.part or "whole"]


def wishes(bowing: Bowing) -> tuple[list[Wish], dict[str, Fraction]]:
    """The teacher's wish for every stroke, and amounts fixed for single later notes."""
    amounts = {event_address(m.at): m.share for m in bowing.marks if m.kind is Kind.AMOUNT}
    parts = {event_address(m.at): m.value for m in bowing.marks if m.kind is Kind.PART}
    out: list[Wish] = []
    inner: dict[str, Fraction] = {}
    for stroke in bowing.strokes:
        first = [e.address for e in stroke.moments[0].events]
        share = next((amounts[a] for a in first if a in amounts), None)
        part = next((parts[a] for a in first if a in parts), "")
        if share is None and part:
            low, high = PARTS[part]
            share = high - low
        out.append(Wish(share, part))
        inner |= {m.address: amounts[m.address] for m in stroke.moments[1:] if m.address in amounts}
    return out, inner


def even_rate(bowing: Bowing) -> Fraction:
    """Share of the bow a quarter note in the even reading: the longest stroke takes it all."""
    longest = max((s.beats for s in bowing.strokes if s.kind is not StrokeKind.TREMOLO), default=Fraction(0))
    return 1 / longest if longest else Fraction(0)


def place_as_marked(bowing: Bowing, tempo: Fraction | float | None = None, rate: Fraction | None = None) -> Placed:
    """The places as marked, and evenly where nothing is.

    `tempo` (quarters a minute at the beginning) defaults to the bowing's; `rate` is the share of
    the bow a quarter note takes where nothing is set, by default `even_rate`.
    """
    tempi = tempi_for(bowing, tempo)
    pull = even_rate(bowing) if rate is None else rate
    asked, inner = wishes(bowing)
    findings: list[Finding] = []
    strokes: list[StrokePlace] = []
    notes: list[NotePlace] = []
    place: Fraction | None = None
    before: Stroke | None = None
    for stroke, wish in zip(bowing.strokes, asked, strict=True):
        share = wish.share if wish.share is not None else pull * stroke.beats
        if stroke.kind is StrokeKind.TREMOLO:
            share = Fraction(0)
        start = _start(bowing.line, stroke, before, place, wish, share, findings)
        shares = _even_shares(stroke, share, inner)
        found, its_notes = lay(stroke, start, shares, tempi, bowing.settings.hair_mm)
        if found.runs_out is not None:
            findings.append(_runs_out(bowing.line, stroke, found))
        strokes.append(found)
        notes += its_notes
        place, before = found.end, stroke
    begun, hair_mm = tempi.opening, bowing.settings.hair_mm
    return Placed("as marked", tuple(strokes), tuple(notes), tuple(findings), begun, hair_mm, pull)


def tempi_for(bowing: Bowing, tempo: Fraction | float | None) -> Tempi:
    """The bowing's tempi, begun at another tempo if one is given."""
    return bowing.tempi.begun_at(Fraction(tempo).limit_denominator(1000)) if tempo else bowing.tempi


def _start(
    line: Line, stroke: Stroke, before: Stroke | None, place: Fraction | None, wish: Wish, share: Fraction,
    out: list[Finding],
) -> Fraction:  # fmt: skip
    """Where a stroke begins; a jump that nothing allows is reported."""
    down = stroke.direction is Direction.DOWN
    edge = Fraction(0 if down else 1)
    repeated = before is not None and before.last_direction == stroke.direction
    anew = place is None or stroke.start or bool(stroke.retake) or (stroke.free and repeated)
    here = edge if place is None or anew else place
    if not wish.part and not stroke.free:
        return here
    low, high = wish.span
    start = max(low, min(here, high - share)) if down else min(high, max(here, low + share))
    if start != here and not (anew or stroke.free):
        text = (
            f"The bow is marked “{wish.part}” in {{where}}, but the stroke before ends elsewhere: "
            "lift, or change the amounts before it."
        )
        out.append(finding(line, stroke.first, FindingKind.PLACE, text))
    return start


def _even_shares(stroke: Stroke, share: Fraction, inner: dict[str, Fraction]) -> list[Fraction]:
    """A stroke's share divided among its moments by their beats, fixed amounts honoured."""
    if len(stroke.moments) == 1:
        return [share]
    fixed = {i: inner[m.address] for i, m in enumerate(stroke.moments) if i and m.address in inner}
    left = share - sum(fixed.values(), Fraction(0))
    beats = sum((m.beats for i, m in enumerate(stroke.moments) if i not in fixed), Fraction(0))
    if left < 0 or not beats:
        fixed, left, beats = {}, share, stroke.beats
    pull = left / beats if beats else Fraction(0)
    return [fixed.get(i, pull * m.beats) for i, m in enumerate(stroke.moments)]


def lay(
    stroke: Stroke, start: Fraction, shares: list[Fraction], tempi: Tempi, hair_mm: float
) -> tuple[StrokePlace, list[NotePlace]]:
    """A stroke laid on the bow from `start`, each moment taking its share, up to the edge."""
    sign = stroke.direction.sign
    room = 1 - start if sign > 0 else start
    used = Fraction(0)
    notes: list[NotePlace] = []
    last = used
    ends = start
    runs_out: Fraction | None = None
    where = ""
    beats = Fraction(0)
    lasting = Fraction(0)
    for moment, share in zip(stroke.moments, shares, strict=True):
        after = used + share
        begins = ends
        if after > room:
            if runs_out is None:
                runs_out = beats + moment.beats * (room - last) / share
                where = moment.address
            last = room
        else:
            last = after
        ends = start + last if sign > 0 else start - last
        sounding = moment.seconds(tempi)
        lasting += sounding
        seconds = None if moment.fermata else sounding
        speed = None if not seconds else float(share) / float(seconds) * hair_mm
        main = False
        for event in moment.events:  # grace notes take no bow of their own
            main = main or not event.grace
            if event.grace:
                at = ends if main else begins
                notes.append(_grace(event.address, moment, stroke, at))
            else:
                notes.append(
                    NotePlace(
                        event.address, moment.pass_number, stroke.number, stroke.direction, begins, ends, share,
                        seconds, speed,
                    )
                )  # fmt: skip
        used = after
        beats += moment.beats
    whole = lasting if stroke.seconds is not None else None
    speed = None if not whole or stroke.kind is StrokeKind.TREMOLO else float(used) / float(whole) * hair_mm
    if stroke.kind is StrokeKind.TREMOLO:
        notes = [
            NotePlace(n.address, n.pass_number, n.stroke, n.direction, n.start, n.end, n.share, n.seconds, None)
            for n in notes
        ]
    return StrokePlace(stroke.number, stroke.direction, start, ends, used, whole, speed, runs_out, where), notes


def _grace(address: str, moment: Moment, stroke: Stroke, at: Fraction) -> NotePlace:
    return NotePlace(
        address, moment.pass_number, stroke.number, stroke.direction, at, at, Fraction(0), Fraction(0), None
    )


def _runs_out(line: Line, stroke: Stroke, found: StrokePlace) -> Finding:
    assert found.runs_out is not None
    beats = Fraction(0)
    moment: Moment = stroke.moments[0]
    for moment in stroke.moments:
        if moment.address == found.runs_out_at:
            break
        beats += moment.beats
    bar = line.bar(moment.main.bar)
    beat = bar.beat(moment.main.onset + found.runs_out - beats)
    left = 1 - found.start if stroke.direction is Direction.DOWN else found.start
    message = (
        f"The bow runs out in bar {bar.number}, beat {beat_label(beat)}: this {stroke.direction}-bow starts with "
        f"{share_word(left) if left else 'nothing of the bow'} left and asks for {share_word(found.share)}."
    )
    return Finding(moment.address, bar.number, beat, FindingKind.RUNS_OUT, message)


@dataclass(frozen=True, slots=True)
class Segment:
    """One note's piece of the bow distribution.

    `beats` are its quarter notes, `new` tells that a stroke begins, `retake` that the bow is
    lifted before it, `set_anew` that a start or a rest lets it be set anywhere, `runs_out` the
    share of the note (0 to 1) after which the bow ends."""

    address: str
    stroke: int
    direction: Direction
    start: Fraction
    end: Fraction
    new: bool
    retake: bool
    set_anew: bool
    runs_out: Fraction | None
    tremolo: bool
    beats: Fraction


def strip(bowing: Bowing, placed: Placed, pass_number: int = 1) -> tuple[Segment, ...]:
    """The bow distribution over the written notes, in written order, grace notes left out.

    Notes that come in several passes are shown as in `pass_number`, or their last pass.
    """
    passes: dict[str, int] = {}
    for stroke in bowing.strokes:
        for moment in stroke.moments:
            if moment.pass_number <= pass_number:
                passes[moment.address] = max(passes.get(moment.address, 0), moment.pass_number)
    out: list[Segment] = []
    for stroke in bowing.strokes:
        found = placed.stroke(stroke.number)
        beats = Fraction(0)
        for place, moment in enumerate(stroke.moments):
            note = placed.note(moment.address, moment.pass_number)
            if note is not None and passes.get(moment.address) == moment.pass_number:
                ends = found.runs_out
                here = ends is not None and found.runs_out_at == moment.address
                runs = (ends - beats) / moment.beats if here and ends is not None else None
                out.append(
                    Segment(
                        moment.address, stroke.number, stroke.direction, note.start, note.end, place == 0,
                        place == 0 and bool(stroke.retake), place == 0 and stroke.free, runs,
                        stroke.kind is StrokeKind.TREMOLO, moment.beats,
                    )
                )  # fmt: skip
            beats += moment.beats
    return tuple(sorted(out, key=lambda s: bowing.line.order(s.address)))
