"""What the pages tell of a bow: the strokes read, placed and told in a teacher's words.

A page asks for a reading (as marked, or planned), a tempo, a dynamic and which time through
repeated music; everything follows from these and the marks, and is kept in memory by them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from fractions import Fraction
from typing import Any

from repertoire.excerpts import Store
from repertoire.models import BowChoice
from repertoire.notation.excerpt import line_digest
from repertoire.technique.bow_facts import facts, limit_findings
from repertoire.technique.bow_place import Placed, StrokePlace, place_as_marked, strip, wishes
from repertoire.technique.bow_planning import COSTS, PlanCosts, place_planned
from repertoire.technique.bow_words import NO_TERMS, place_word, share_word
from repertoire.technique.bowing import BOW, Bowing, BowSettings, read_strokes
from repertoire.technique.line import Line, Value, beat_label, event_address
from repertoire.technique.marks import Kind, Mark, Marks, digest
from repertoire.technique.strokes import Finding, FindingKind, Stroke, StrokeKind
from repertoire.technique.tempi import beat_of, tempi_of, tempo_figure
from studio.models import Studio
from studio.terms import worded

AS_MARKED, PLANNED = "marked", "planned"
AUTO = ""  # as marked where amounts are marked, else planned
READINGS = ((AS_MARKED, "as marked"), (PLANNED, "planned"))
DYNAMICS = ("pp", "p", "mp", "mf", "f", "ff")
SLOWEST, FASTEST = 20, 300  # quarter notes a minute that can be asked for
NOTHING_FIXED = (
    "No amounts are marked: read evenly, each beat takes as much of the bow, the longest stroke the whole of it."
)
CHANGES_TOLD = 4  # changes of tempo named in a summary
KIND_WORDS = {
    StrokeKind.SINGLE: "", StrokeKind.SLURRED: "slurred", StrokeKind.HOOKED: "hooked",
    StrokeKind.PORTATO: "portato", StrokeKind.TREMOLO: "tremolo",
}  # fmt: skip
# What a teacher acts on stands first; habits and open lengths are remarks.
_REMARKS = frozenset({FindingKind.HABIT, FindingKind.PHRASE, FindingKind.FERMATA, FindingKind.TEMPO})


@dataclass(frozen=True, slots=True)
class BowAsked:
    """How a bow is to be read: `reading` is AS_MARKED, PLANNED or AUTO, `tempo` in quarter notes a
    minute (None: the printed one), `dynamic` "" for the written ones, `pass_number` which time
    through repeated music."""

    reading: str = AS_MARKED
    tempo: int | None = None
    dynamic: str = ""
    pass_number: int = 1
    settings: BowSettings = BOW
    costs: PlanCosts = COSTS
    worked_by: str = ""  # whose tempo stands in the settings, where none is printed


ASKED = BowAsked()


@dataclass(frozen=True, slots=True)
class StrokeSaid:
    """One stroke as a row of the table. `speed` is in mm a second, "" where it is open."""

    number: int
    where: str
    direction: str
    why: str
    kind: str
    notes: int
    beats: str
    seconds: str
    start: str
    end: str
    share: str
    speed: str
    runs_out: bool
    retake: bool


@dataclass(frozen=True)
class BowSaid:
    """Everything a page tells about one bowing in words and figures."""

    reading: str
    tempo: str
    summary: str
    findings: tuple[str, ...]
    remarks: tuple[str, ...]
    strokes: tuple[StrokeSaid, ...]
    passes: int


_read: Store[str, Bowing] = Store(120)
_placed: Store[str, Placed] = Store(120)


def read(line: Line, marks: Marks, asked: BowAsked = ASKED) -> Bowing:
    """The strokes of a line under marks, from memory when they were asked for lately."""
    key = _key(line, marks, asked)
    return _read.get(key) or _read.put(
        key, read_strokes(line, with_dynamic(line, marks, asked.dynamic), asked.settings, asked.tempo)
    )


def place(bowing: Bowing, asked: BowAsked = ASKED) -> Placed:
    """The places of a bowing in the reading asked for."""
    if (asked.reading or usual_reading(bowing.marks)) != PLANNED:
        return place_as_marked(bowing)
    key = _key(bowing.line, bowing.marks, asked) + repr(asked.costs)
    return _placed.get(key) or _placed.put(key, place_planned(bowing, costs=asked.costs))


def usual_reading(*versions: Marks) -> str:
    """As marked where somebody marked amounts; without any the even reading would only make them up."""
    fixed = any(m.kind in (Kind.AMOUNT, Kind.PART) for marks in versions for m in marks)
    return AS_MARKED if fixed else PLANNED


def _key(line: Line, marks: Marks, asked: BowAsked) -> str:
    before = line.tempos_before or ""
    return f"{line_digest(line)} {before} {digest(marks)} {asked.tempo} {asked.dynamic} {asked.settings!r}"


def with_dynamic(line: Line, marks: Marks, dynamic: str) -> Marks:
    """The marks as if the whole line were played at one dynamic; unchanged for ""."""
    if not dynamic or not line.notes:
        return marks
    kept = (m for m in marks if m.kind is not Kind.DYNAMIC)
    return (*kept, Mark(Kind.DYNAMIC, line.notes[0].address, dynamic))


def passes(bowing: Bowing) -> int:
    """How often the most repeated music is played."""
    return max((s.pass_number for s in bowing.strokes), default=1)


def inferred_marks(bowing: Bowing, pass_number: int = 1) -> Marks:
    """A bow sign for each stroke whose direction nobody marked, as played in a pass."""
    signed = {event_address(m.at) for m in bowing.marks if m.kind is Kind.BOW}
    out = []
    for segment in strip(bowing, place_as_marked(bowing), pass_number):
        if segment.new and segment.address not in signed:
            out.append(Mark(Kind.BOW, segment.address, segment.direction.value))
    return tuple(out)


def tell(bowing: Bowing, placed: Placed, asked: BowAsked, terms: Mapping[str, str] = NO_TERMS) -> BowSaid:
    """The bowing in words: a summary, what to look at with bar and beat, and every stroke."""
    found = (*bowing.findings, *placed.findings, *limit_findings(bowing, placed))
    ordered = sorted(dict.fromkeys(found), key=lambda f: (bowing.line.order(f.address), f.kind))
    even = _evenly(bowing, placed, ordered)
    return BowSaid(
        reading=placed.reading,
        tempo=worded(_tempo(bowing, asked, terms), terms),
        summary=_summary(bowing, placed, ordered),
        findings=tuple(
            dict.fromkeys(worded(f.message, terms) for f in ordered if f.kind not in _REMARKS and f not in even)
        ),
        remarks=tuple(
            worded(words, terms)
            for words in dict.fromkeys((*even.values(), *(f.message for f in ordered if f.kind in _REMARKS)))
        ),
        strokes=tuple(
            _stroke(bowing, stroke, placed.stroke(stroke.number), terms)
            for stroke in bowing.strokes
            if stroke.pass_number == min(asked.pass_number, passes(bowing)) or passes(bowing) == 1
        ),
        passes=passes(bowing),
    )


def _evenly(bowing: Bowing, placed: Placed, found: list[Finding]) -> dict[Finding | None, str]:
    """What only the even reading says, put as a remark: nobody marked amounts there."""
    if placed.reading != "as marked":
        return {}
    asked, inner = wishes(bowing)
    fixed = {
        stroke.number
        for stroke, wish in zip(bowing.strokes, asked, strict=True)
        if wish.share is not None or any(m.address in inner for m in stroke.moments)
    }
    out: dict[Finding | None, str] = {} if fixed else {None: NOTHING_FIXED}
    for each in found:
        stroke = bowing.stroke_at(each.address)
        if each.kind is FindingKind.RUNS_OUT and (stroke is None or stroke.number not in fixed):
            out[each] = f"Read evenly, {each.message[0].lower()}{each.message[1:]}"
    return out


def _tempo(bowing: Bowing, asked: BowAsked, terms: Mapping[str, str]) -> str:
    """The tempo at the beginning and where it changes: “60 at the beginning, 90 from bar 5”."""
    tempi, line = bowing.tempi, bowing.line
    first = tempo_figure(tempi.opening) + (
        "" if tempi.printed or asked.tempo else f" ({_unprinted(bowing, asked, terms)})"
    )
    if not tempi.changes:
        return first
    told = [f"{first} at the beginning"]
    for change in tempi.changes[:CHANGES_TOLD]:
        beat = f", beat {beat_label(line.bar(change.index).beat(change.onset))}" if change.onset else ""
        told.append(f"{tempo_figure(change.tempo)} from bar {change.bar}{beat}")
    more = len(tempi.changes) - CHANGES_TOLD
    words = "; ".join(told) + (f"; {_count(more, 'more change')}" if more > 0 else "")
    printed = tempi_of(line, bowing.settings.tempo).opening
    return f"{words} (in proportion to what is printed)" if tempi.opening != printed else words


def _unprinted(bowing: Bowing, asked: BowAsked, terms: Mapping[str, str]) -> str:
    """Where the tempo comes from when none is printed: a student's work, or the beat the metre counts."""
    if asked.worked_by:
        return f"none is printed; as {asked.worked_by} plays it"
    if beat_of(bowing.line) == Value("quarter"):
        return "none is printed"
    return f"none is printed; {_beat_tempo(bowing, bowing.settings.tempo, terms)}"


def _beat_tempo(bowing: Bowing, tempo: Fraction, terms: Mapping[str, str]) -> str:
    """A tempo in the metre's own beat: “minim = 80”."""
    beat = beat_of(bowing.line)
    return f"{'dotted ' if beat.dots else ''}{terms.get(beat.type, beat.type)} = {tempo_figure(tempo)}"


def tempo_note(bowing: Bowing, asked: BowAsked, terms: Mapping[str, str] = NO_TERMS) -> str:
    """What stands beside a field for the tempo in quarter notes: the same in the metre's own beat
    where that is another, and that it is assumed where none is printed; "" for nothing to say."""
    beat, opening = beat_of(bowing.line), bowing.tempi.opening
    told = [] if beat == Value("quarter") else [_beat_tempo(bowing, opening / beat.quarters, terms)]
    usual = usual_tempo(bowing.line, bowing.settings)
    if not bowing.tempi.printed and round(float(opening)) == usual:
        told.append(f"{f'as {asked.worked_by} plays it' if asked.worked_by else 'assumed'}: no tempo is printed")
    return ", ".join(told)


def _summary(bowing: Bowing, placed: Placed, found: list[Finding]) -> str:
    counted = facts(bowing, placed)
    parts = [_count(counted.strokes, "stroke"), _count(counted.bow_changes, "bow change")]
    if counted.retakes:
        parts.append(_count(counted.retakes, "retake"))
    out = _count(counted.runs_out, "time") if counted.runs_out else ""
    parts.append(f"the bow runs out {out}" if out else "the bow doesn’t run out")
    needed = sum(1 for f in found if f.kind is FindingKind.RETAKE_OR_HOOK)
    if needed:
        parts.append(f"{_count(needed, 'place')} needing a retake or a hook")
    return ", ".join(parts)


def _count(number: int, one: str) -> str:
    return f"{number} {one if number == 1 else one + 's'}"


def _figure(number: Fraction | float) -> str:
    return f"{float(number):.1f}".removesuffix(".0")


def _stroke(bowing: Bowing, stroke: Stroke, found: StrokePlace, terms: Mapping[str, str]) -> StrokeSaid:
    return StrokeSaid(
        number=stroke.number,
        where=worded(bowing.line.where(stroke.first), terms),
        direction=f"{stroke.direction}-bow",
        why=worded(stroke.why, terms),
        kind=KIND_WORDS[stroke.kind],
        notes=sum(1 for m in stroke.moments if not m.continues),
        beats=_figure(stroke.beats),
        seconds="" if stroke.seconds is None else f"{float(stroke.seconds):.1f}",
        start=place_word(found.start, terms),
        end=place_word(found.end, terms),
        share="" if stroke.kind is StrokeKind.TREMOLO else share_word(found.share),
        speed="" if found.speed is None else f"{found.speed:.0f}",
        runs_out=found.runs_out is not None,
        retake=bool(stroke.retake),
    )


def bow_settings(studio: Studio) -> tuple[BowSettings, PlanCosts]:
    """What a studio has set about the bow, the defaults where it hasn't."""
    chosen = BowChoice.objects.filter(studio=studio).first()
    if chosen is None:
        return BOW, COSTS
    return _settings(chosen.settings), _costs(chosen.costs)


def _known(kind: type[Any], raw: Mapping[str, Any]) -> dict[str, Any]:
    """Stored numbers in the types of a dataclass's own fields; unknown names are left alone."""
    defaults = {f.name: f.default for f in fields(kind)}
    out: dict[str, Any] = {}
    for name, value in raw.items():
        default = defaults.get(name)
        if isinstance(default, Fraction):
            out[name] = Fraction(str(value))
        elif isinstance(default, float):
            out[name] = float(value)
    return out


def _settings(raw: Mapping[str, Any]) -> BowSettings:
    return replace(BOW, **_known(BowSettings, raw))


def _costs(raw: Mapping[str, Any]) -> PlanCosts:
    known = _known(PlanCosts, raw)
    speeds = raw.get("wanted_mm_s", {})
    if speeds:
        known["wanted_mm_s"] = {**COSTS.wanted_mm_s, **{name: float(value) for name, value in speeds.items()}}
    return replace(COSTS, **known)


def usual_tempo(line: Line, settings: BowSettings = BOW) -> int:
    """The tempo a page begins with: the printed one, else the studio's, quarter notes a minute."""
    return round(float(tempi_of(line, settings.tempo).opening))
