"""Possible bowings of a passage: other starts, other groupings, hooks, retakes and splits.

None is called right and none is ranked: each comes with its facts and a sentence that says
what it gives and what it asks. Signs that are marked are kept where they can hold; what can't
is named. No new slur runs over a repeated note or over dots, nothing is hooked to an ornament,
a retake is offered only where there is time for it, and a stroke a bar (or half bar) only where
most of them can be one stroke. `RULES` names the version of these
rules, to be kept with a marking that was made from one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from .bow_facts import BowFacts, facts
from .bow_place import Placed
from .bow_planning import COSTS, PlanCosts, place_planned
from .bow_trade_off import left_out, trade_off
from .bowing import is_downbeat, read_strokes
from .line import Line, event_address
from .loudness import Loudness, loudness
from .marks import Kind, Mark, Marks
from .strokes import BOW, Bowing, BowSettings, Direction, FindingKind, Moment, Stroke, StrokeKind

RULES = "bow 3"
AT_FIRST = 3
RETAKE_SECONDS = Fraction(4, 5)  # a note this long can be left early enough to lift the bow
_GROUPING = frozenset({Kind.BOW, Kind.RETAKE, Kind.SLUR, Kind.HOOK, Kind.AMOUNT, Kind.PART})
_STOPPED = frozenset({"staccato", "staccatissimo", "detached legato"})
_DIRECTIONS = frozenset({Kind.BOW, Kind.RETAKE})
_AMOUNTS = frozenset({Kind.AMOUNT, Kind.PART})


@dataclass(frozen=True)
class PossibleBowing:
    """One possible bowing. `marks` are all the marks of the new marking; `trade_off` is a
    sentence against the bowing it was made from, `leaves_out` one on the signs it gives up (""
    for none); `planned` holds its places."""

    name: str
    marks: Marks
    bowing: Bowing
    planned: Placed
    facts: BowFacts
    trade_off: str
    leaves_out: str = ""
    rules: str = RULES


def possible_bowings(
    line: Line,
    marks: Marks,
    *,
    printed: Marks | None = None,
    tempo: Fraction | float | None = None,
    settings: BowSettings = BOW,
    costs: PlanCosts = COSTS,
    limit: int | None = AT_FIRST,
) -> tuple[PossibleBowing, ...]:
    """Bowings that differ from the given one and from each other, at most `limit` (None: all).

    One of each character comes first (another start, another grouping, an answer to what is
    uneven or too long), so that three are three different things; their order says nothing.
    `printed` are the source's own marks, offered where the marking has left them.
    """
    base = read_strokes(line, marks, settings, tempo)
    base_facts = facts(base, place_planned(base, costs=costs))
    source = frozenset(printed or ())
    seen = {_shape(base)}
    families: list[list[PossibleBowing]] = []
    for family in _families(line, marks, base, printed):
        kept: list[PossibleBowing] = []
        for name, make in family:
            bowing = _honouring(tuple(set(make())), base, source)
            new, shape = bowing.marks, _shape(bowing)
            if shape in seen or _overlong(bowing) > _overlong(base) or _forced(bowing) > _forced(base):
                continue
            whole, divided = _divided(line, base, bowing, UNITS.get(name))
            if name in LARGE and 2 * divided > whole:
                continue
            seen.add(shape)
            placed = place_planned(bowing, costs=costs)
            found = facts(bowing, placed)
            words = trade_off(base_facts, found) + (DIVIDED if divided else "")
            told = (words, left_out(line, marks, new, source))
            kept.append(PossibleBowing(name, new, bowing, placed, found, *told))
        families.append(kept)
    first = [family[0] for family in families if family]
    rest = [p for family in families for p in family[1:]]
    chosen = [*first, *rest]
    return tuple(chosen if limit is None else chosen[:limit])


def _honouring(new: Marks, base: Bowing, source: frozenset[Mark]) -> Bowing:
    """The new grouping with every sign of the old one that can hold in it: all of them, else
    the teacher's own without the source's, else none. Amounts stay with strokes that begin there."""
    taken = {event_address(m.at) for m in new if m.kind in _DIRECTIONS}
    signs = [m for m in base.marks if m.kind in _DIRECTIONS and event_address(m.at) not in taken]
    own = [m for m in signs if m not in source]
    limit = _forced(base)
    bowing = None
    for kept in dict.fromkeys((tuple(signs), tuple(own), ())):
        bowing = read_strokes(base.line, tuple(sorted({*new, *kept})), base.settings, base.tempo)
        if _forced(bowing) <= limit and _retakes_have_time(bowing, base):
            break
    assert bowing is not None
    begun = {s.first for s in bowing.strokes}
    amounts = [m for m in base.marks if m.kind in _AMOUNTS and event_address(m.at) in begun]
    if all(m in bowing.marks for m in amounts):
        return bowing
    return read_strokes(base.line, tuple(sorted({*bowing.marks, *amounts})), base.settings, base.tempo)


def _retakes_have_time(bowing: Bowing, base: Bowing) -> bool:
    """No retake, other than those there were, after a stroke too short to lift in."""
    before = {s.first for s in base.strokes if s.retake}
    return all(not s.retake or s.first in before or _has_time(bowing, n) for n, s in enumerate(bowing.strokes))


def _has_time(bowing: Bowing, place: int) -> bool:
    """A rest before a stroke, or a stroke before it that is long enough to be left early."""
    stroke, last = bowing.strokes[place], bowing.strokes[place - 1] if place else None
    if last is None or stroke.free or last.moments[-1].end < stroke.moments[0].onset:
        return True
    return last.seconds is None or last.moments[-1].seconds(bowing.tempi) >= RETAKE_SECONDS


Family = list[tuple[str, Callable[[], Iterable[Mark]]]]


def _families(line: Line, marks: Marks, base: Bowing, printed: Marks | None) -> list[Family]:
    as_printed: Family = [] if printed is None else [("as printed", lambda: _as_printed(marks, printed))]
    return [
        [
            *as_printed,
            ("start down", lambda: _started(marks, base, Direction.DOWN)),
            ("start up", lambda: _started(marks, base, Direction.UP)),
        ],
        [
            ("by the beat", lambda: _grouped(line, marks, base, _by_beat)),
            ("two strokes a bar", lambda: _grouped(line, marks, base, _by_half)),
            ("one stroke a bar", lambda: _grouped(line, marks, base, _by_bar)),
            ("separate strokes", lambda: _grouped(line, marks, base, None)),
        ],
        [
            ("long slurs split", lambda: _split(line, marks, base)),
            ("short notes hooked", lambda: _hooked(marks, base)),
            ("retaken downbeats", lambda: _retaken(line, marks, base)),
        ],
    ]


def _shape(bowing: Bowing) -> tuple[tuple[str, str, str], ...]:
    """What makes two bowings the same in playing: the notes of each stroke, its way and kind."""
    return tuple((f"{s.first}-{s.last}", s.direction, f"{s.kind} {bool(s.retake)}") for s in bowing.strokes)


def _overlong(bowing: Bowing) -> float:
    """How many times its limit the most overlong stroke lasts; 1 where none is too long."""
    loud = loudness(bowing.line, bowing.marks)
    worst = 1.0
    for stroke in bowing.strokes:
        if stroke.seconds is not None:
            worst = max(worst, float(stroke.seconds) / _limit(bowing, stroke, loud))
    return worst


def _limit(bowing: Bowing, stroke: Stroke, loud: Mapping[str, Loudness]) -> float:
    """Seconds a stroke may last at its loudness."""
    strong = any(loud[m.address].is_loud for m in stroke.moments)
    return bowing.settings.long_loud_seconds if strong else bowing.settings.long_soft_seconds


def _forced(bowing: Bowing) -> int:
    return sum(1 for f in bowing.findings if f.kind in (FindingKind.RETAKE_OR_HOOK, FindingKind.CONTRADICTION))


def _as_printed(marks: Marks, printed: Marks) -> list[Mark]:
    return [m for m in marks if m.kind not in _GROUPING] + [m for m in printed if m.kind in _GROUPING]


def _started(marks: Marks, base: Bowing, way: Direction) -> list[Mark]:
    """Every grouping kept, all directions dropped but the first."""
    kept = [m for m in marks if m.kind not in _DIRECTIONS]
    return kept + ([Mark(Kind.BOW, base.strokes[0].first, way.value)] if base.strokes else [])


def _written(base: Bowing) -> list[Moment]:
    """The bowed moments in written order, each once."""
    found = [m for s in base.strokes for m in s.moments if m.pass_number == 1]
    return sorted(found, key=lambda m: base.line.order(m.address))


def _by_bar(line: Line, moment: Moment) -> tuple[int, int]:
    return (moment.main.bar, 0)


def _by_half(line: Line, moment: Moment) -> tuple[int, int]:
    """Half bars; a bar of three beats is two and one."""
    bar = line.bar(moment.main.bar)
    beats = bar.meter.length / bar.meter.beat
    middle = (beats + 1) // 2 if beats > 2 else beats / 2
    return (bar.index, int(bar.beat(moment.main.onset) - 1 >= middle))


def _by_beat(line: Line, moment: Moment) -> tuple[int, int]:
    """Beats as they are felt: not shorter than a quarter, a bar of 3/8 as one."""
    bar = line.bar(moment.main.bar)
    unit = bar.meter.beat if bar.meter.beat >= 1 else Fraction(3, 2) if bar.meter.beats == "3" else Fraction(1)
    return (bar.index, int((bar.missing + moment.main.onset) / unit))


Unit = Callable[[Line, Moment], tuple[int, int]]
UNITS: Mapping[str, Unit] = {"by the beat": _by_beat, "two strokes a bar": _by_half, "one stroke a bar": _by_bar}
LARGE = frozenset({"two strokes a bar", "one stroke a bar"})  # left out where most would be divided
DIVIDED = " Divided where a note repeats, has a dot or carries a sign."


def _divided(line: Line, base: Bowing, bowing: Bowing, unit: Unit | None) -> tuple[int, int]:
    """How many bars or beats have several notes to join, and how many of those take more than one bow."""
    whole: set[tuple[int, int]] = set()
    parted: set[tuple[int, int]] = set()
    for before, moment in pairwise(_written(base) if unit else ()):
        assert unit is not None
        touching = line.time(before.main) + before.main.duration == line.time(moment.main)
        shaking = before.main.tremolo or moment.main.tremolo
        fresh = not (before.continues or moment.continues)
        key = unit(line, moment)
        if unit(line, before) == key and touching and fresh and not shaking:
            whole.add(key)
            if bowing.stroke_at(before.address) is not bowing.stroke_at(moment.address):
                parted.add(key)
    return len(whole), len(parted)


def _grouped(line: Line, marks: Marks, base: Bowing, unit: Unit | None) -> list[Mark]:
    """Slurs over every unit, broken at rests, pizzicato, tremolo, repeated notes, dots and signs
    that are marked; ties stay, and whatever is played in one bow with stops."""
    stopped = _stopped(base)
    out = [
        m for m in marks
        if m.kind not in _GROUPING or m.kind is Kind.HOOK
        or (m.kind is Kind.SLUR and {event_address(m.at), event_address(m.to)} <= stopped)
    ]  # fmt: skip
    moments = _written(base)
    fixed = {event_address(m.at) for m in marks if m.kind in _DIRECTIONS}
    dotted = {event_address(m.at) for m in marks if m.kind is Kind.ARTICULATION and m.value in _STOPPED}
    groups: list[list[Moment]] = []
    keys: list[tuple[int, int]] = []
    for moment in moments:
        key = unit(line, moment) if unit else (moment.main.bar, line.order(moment.address))
        last = groups[-1][-1] if groups else None
        touching = last is not None and line.time(last.main) + last.main.duration == line.time(moment.main)
        shaking = last is not None and (last.main.tremolo or moment.main.tremolo)
        apart = last is not None and (
            any(e.address in fixed for e in moment.events)
            or {last.address, moment.address} & (dotted | stopped)
            or bool({*last.main.pitches} & {*moment.main.pitches})
        )
        if touching and not shaking and (moment.continues or (keys[-1] == key and not apart)):
            groups[-1].append(moment)
        else:
            groups.append([moment])
            keys.append(key)
    for group in groups:
        if len([m for m in group if not m.continues]) > 1:
            out.append(Mark(Kind.SLUR, group[0].address, "", group[-1].address))
    return out


def _stopped(base: Bowing) -> set[str]:
    """Notes of hooked and portato strokes, however they are written."""
    kinds = (StrokeKind.HOOKED, StrokeKind.PORTATO)
    return {a for s in base.strokes if s.kind in kinds and len(s.moments) > 1 for a in s.notes}


def _pairs(base: Bowing) -> list[tuple[Stroke, Stroke]]:
    """Single long strokes with a short one right after them, half as long or less, in one bar,
    neither with an ornament and the short one without a sign of its own."""
    out = []
    ornate = {event_address(m.at) for m in base.marks if m.kind is Kind.ORNAMENT}
    for long, short in pairwise(base.strokes):
        single = long.kind is StrokeKind.SINGLE and short.kind is StrokeKind.SINGLE
        together = not short.free and long.moments[-1].main.bar == short.moments[0].main.bar
        plain = not ornate & {long.first, short.first} and not short.marked
        if single and together and plain and short.beats and long.beats >= 2 * short.beats:
            out.append((long, short))
    return out


def _hooked(marks: Marks, base: Bowing) -> list[Mark]:
    """Each short note after a long one taken in the same bow; directions left to follow."""
    kept = _started(marks, base, base.strokes[0].direction) if base.strokes else list(marks)
    pairs = _pairs(base)
    hooks = [Mark(Kind.HOOK, a.first, "hooked", b.last) for a, b in pairs]
    # The short note has no stroke of its own any more whose amount could be marked.
    short = {b.first for _, b in pairs}
    return [m for m in kept if m.kind not in _AMOUNTS or event_address(m.at) not in short] + hooks


def _retaken(line: Line, marks: Marks, base: Bowing) -> list[Mark]:
    """A retake to a down-bow at every downbeat that would come up and leaves time for it."""
    out = [m for m in marks if m.kind not in _DIRECTIONS]
    if base.strokes:
        out.append(Mark(Kind.BOW, base.strokes[0].first, base.strokes[0].direction.value))
    for place, stroke in enumerate(base.strokes):
        if place and stroke.pass_number == 1 and is_downbeat(line, stroke.moments[0]) and _has_time(base, place):
            out.append(Mark(Kind.BOW, stroke.first, Direction.DOWN.value))
    trial = read_strokes(line, tuple(out), base.settings, base.tempo)
    needed = {s.first for s in trial.strokes if s.retake == "needed"}
    needed |= {f.address for f in trial.findings if f.kind is FindingKind.RETAKE_OR_HOOK}
    return out + [Mark(Kind.RETAKE, address) for address in sorted(needed)]


def _split(line: Line, marks: Marks, base: Bowing) -> list[Mark]:
    """Slurs that last too long, or for which the bow is short, shared between two bows."""
    loud = loudness(line, marks)
    out = list(_started(marks, base, base.strokes[0].direction)) if base.strokes else list(marks)
    for stroke in base.strokes:
        if stroke.pass_number > 1 or stroke.kind is not StrokeKind.SLURRED or stroke.seconds is None:
            continue
        cut = _middle(line, stroke)
        if stroke.seconds <= _limit(base, stroke, loud) / 2 or cut is None:
            continue
        inside = {m.address for m in stroke.moments}
        out = [m for m in out if not (m.kind is Kind.SLUR and m.at in inside and m.to in inside)]
        for part in (stroke.moments[:cut], stroke.moments[cut:]):
            if len(part) > 1:
                out.append(Mark(Kind.SLUR, part[0].address, "", part[-1].address))
    return out


def _middle(line: Line, stroke: Stroke) -> int | None:
    """The moment nearest the middle of a stroke at which a new bow can start, beats first."""
    half = stroke.beats / 2
    best: tuple[Fraction, int] | None = None
    beats = Fraction(0)
    for place, moment in enumerate(stroke.moments):
        if place and not moment.continues:
            off_beat = line.bar(moment.main.bar).beat(moment.main.onset).denominator != 1
            miss = abs(beats - half) + (stroke.beats / 8 if off_beat else 0)
            best = min(best, (miss, place)) if best else (miss, place)
        beats += moment.beats
    return best[1] if best else None
