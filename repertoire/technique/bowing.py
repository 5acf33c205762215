"""Every stroke of a passage with its direction, marked or inferred, and why.

Directions are solved over the whole passage: all marks hold with the fewest retakes and
hooks that nobody marked, each of which is reported. Among such solutions the habits
decide, in this order: starts (down on the beat, up on an upbeat; L. Mozart,
Violinschule, 1756, ch. 4, from memory), then downbeats on a down-bow.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from .joining import Group, join_notes
from .line import Line, beat_label
from .marks import Kind, Marks
from .strokes import (
    BOW,
    Bowing,
    BowSettings,
    Direction,
    Finding,
    FindingKind,
    Moment,
    Stroke,
    StrokeKind,
    finding,
)
from .tempi import Tempi, tempi_of, tempo_figure

__all__ = [
    "BOW",
    "BowSettings",
    "Bowing",
    "Direction",
    "Finding",
    "FindingKind",
    "Stroke",
    "StrokeKind",
    "read_strokes",
]

BOTH = (Direction.DOWN, Direction.UP)
# Costs are compared in this order: one of a kind outweighs any number of the next.
UNMARKED = 10**12  # a retake or hook nobody marked
HABIT = 10**6  # a start against the habit
TASTE = 1  # a downbeat on an up-bow; a retake or hook where it sits badly


@dataclass(frozen=True, slots=True)
class Join:
    """What stands between two groups, or before the first: how free the bow is."""

    start: bool  # nothing is carried over: a beginning, after pizzicato, after a long rest
    either: bool  # after a tremolo whose bows can't be counted: both directions are open
    rest: bool  # a rest or breath long enough to set the bow anywhere
    retake: bool  # a retake is marked
    downbeat: bool  # the group begins a bar
    habit: Direction  # how it would begin by custom


def read_strokes(
    line: Line, marks: Marks, settings: BowSettings = BOW, tempo: Fraction | float | None = None
) -> Bowing:
    """The strokes of a line in played order, and what has to be told about them.

    `tempo` is the one it begins at, in quarter notes a minute; without it the printed one
    counts, else the settings' tempo on the metre's own beat. Tempo marks inside the line are followed, in proportion
    to its beginning (see `tempi.py`). Marks on addresses outside the line are left alone.
    """
    printed = tempi_of(line, settings.tempo)
    tempi = printed.begun_at(Fraction(tempo).limit_denominator(1000)) if tempo else printed
    joined = join_notes(line, marks)
    findings = list(joined.findings)
    groups = joined.groups
    joins = [_join(line, g, settings, tempi, groups[i - 1] if i else None) for i, g in enumerate(groups)]
    directions = _solve(groups, joins)
    findings += _unmarked_changes(line, groups, joins, directions)
    strokes = _strokes(line, marks, groups, joins, directions, tempi)
    findings += _starts(line, groups, joins, directions)
    findings += _repeats(line, strokes)
    for moment in dict.fromkeys(m.address for g in groups for m in g.moments if m.fermata):
        text = "The length of the note in {where} is open (fermata): speed and seconds are unknown."
        findings.append(finding(line, moment, FindingKind.FERMATA, text))
    findings += _open_tempi(line, tempi)
    findings.sort(key=lambda f: (line.order(f.address), f.kind))
    return Bowing(line, marks, tuple(strokes), tuple(dict.fromkeys(findings)), tempi, settings)


def is_upbeat(line: Line, moment: Moment) -> bool:
    """A start anywhere but on a strong beat: the first, and the middle one of four or more even
    beats. After a rest of a quarter or an eighth at the bar's head one begins up, after half a
    bar of 4/4 down (L. Mozart, 1756, ch. 4, from memory)."""
    bar = line.bar(moment.main.bar)
    beat = bar.beat(moment.main.onset)
    beats = bar.meter.length / bar.meter.beat
    strong = {Fraction(1), beats / 2 + 1} if beats >= 4 and beats % 2 == 0 else {Fraction(1)}
    return beat not in strong or bool(bar.missing and moment.main.bar == line.bars[0].index)


def is_downbeat(line: Line, moment: Moment) -> bool:
    """The first beat of a bar, newly played."""
    bar = line.bar(moment.main.bar)
    return moment.main.onset == 0 and not bar.missing and not moment.continues


def habit(line: Line, moment: Moment) -> Direction:
    """The direction in which an unmarked start begins by custom."""
    return Direction.UP if is_upbeat(line, moment) else Direction.DOWN


def _join(line: Line, group: Group, settings: BowSettings, tempi: Tempi, before: Group | None) -> Join:
    seconds = tempi.played.between(group.first.onset - group.silence, group.first.onset)
    uncounted = before is not None and before.bows is None
    start = group.fresh or seconds >= settings.fresh_seconds
    rest = seconds >= settings.rest_seconds or group.breath
    downbeat = is_downbeat(line, group.first)
    return Join(start, uncounted, rest, group.retake, downbeat, habit(line, group.first))


def _ends(group: Group, direction: Direction) -> Direction:
    return direction.other if group.bows is not None and group.bows % 2 == 0 else direction


def _cost(before: Group | None, ends: Direction, group: Group, join: Join, direction: Direction) -> int:
    """What it costs to play a group in a direction after one that ended in another."""
    downbeat = join.downbeat
    cost = TASTE if downbeat and direction is Direction.UP else 0
    if join.start or join.either or before is None:
        return cost + (HABIT if direction != join.habit else 0)
    same = direction == ends
    if join.retake:
        return cost + (0 if same else HABIT)
    if join.rest:
        wanted = direction is Direction.DOWN if downbeat else not same
        return cost + (0 if wanted else HABIT)
    if not same:
        return cost
    sits_well = group.silence > 0 or group.beats < before.beats or (downbeat and direction is Direction.DOWN)
    return cost + UNMARKED + (0 if sits_well else TASTE)


def _solve(groups: tuple[Group, ...], joins: list[Join]) -> list[Direction]:
    """The cheapest direction of every group with all marks held: exact, by dynamic programme.
    Ties go to the down-bow."""
    best: dict[Direction, int] = {}
    came: list[dict[Direction, Direction]] = []
    for place, (group, join) in enumerate(zip(groups, joins, strict=True)):
        before = groups[place - 1] if place else None
        allowed = (group.mark,) if group.mark else BOTH
        now: dict[Direction, int] = {}
        back: dict[Direction, Direction] = {}
        for direction in allowed:
            if before is None:
                now[direction] = _cost(None, direction, group, join, direction)
                continue
            costs = {d: best[d] + _cost(before, _ends(before, d), group, join, direction) for d in BOTH if d in best}
            back[direction] = min(costs, key=lambda d: costs[d])
            now[direction] = costs[back[direction]]
        best = now
        came.append(back)
    if not groups:
        return []
    out = [min(best, key=lambda d: best[d])]
    for back in reversed(came[1:]):
        out.append(back[out[-1]])
    return out[::-1]


def _repeated(groups: tuple[Group, ...], joins: list[Join], directions: list[Direction], place: int) -> bool:
    """Whether a group goes the same way as the one before it, with no rest or sign to allow it."""
    join = joins[place]
    if place == 0 or join.start or join.either or join.rest or join.retake:
        return False
    return directions[place] == _ends(groups[place - 1], directions[place - 1])


def _unmarked_changes(
    line: Line, groups: tuple[Group, ...], joins: list[Join], directions: list[Direction]
) -> list[Finding]:
    out = []
    for place, group in enumerate(groups):
        if not _repeated(groups, joins, directions, place):
            continue
        way = directions[place]
        read = "lifted and retaken" if way is Direction.DOWN else "hooked"
        text = f"{{where}} needs a retake or a hook here: two {way}-bows in a row, read as {read}."
        out.append(finding(line, group.first.address, FindingKind.RETAKE_OR_HOOK, text))
    return out


def _strokes(
    line: Line, marks: Marks, groups: tuple[Group, ...], joins: list[Join], directions: list[Direction], tempi: Tempi
) -> list[Stroke]:
    dotted = {m.at.partition("p")[0] for m in marks if m.kind is Kind.ARTICULATION and m.value in _STOPS}
    reasons = _reasons(line, groups, joins, directions)
    strokes: list[Stroke] = []
    for place, (group, join, way) in enumerate(zip(groups, joins, directions, strict=True)):
        moments = tuple(group.moments)
        plain = not (group.tremolo or groups[place - 1].tremolo) if place else False
        if _repeated(groups, joins, directions, place) and way is Direction.UP and plain:
            last = strokes.pop()
            moments = last.moments + moments
            strokes.append(replace(last, moments=moments, kind=StrokeKind.HOOKED, seconds=_seconds(moments, tempi)))
            continue
        same = place > 0 and way == _ends(groups[place - 1], directions[place - 1]) and not (join.start or join.either)
        retake = "marked" if join.retake and place else "needed" if same and not join.rest else ""
        strokes.append(
            Stroke(
                len(strokes) + 1, way, group.mark is not None, _kind(group, dotted), moments, _seconds(moments, tempi),
                reasons[place], retake, join.start, join.start or join.rest, group.bows,
            )
        )  # fmt: skip
    return [replace(s, number=n) for n, s in enumerate(strokes, start=1)]


_STOPS = frozenset({"staccato", "staccatissimo", "tenuto", "detached legato"})


def _kind(group: Group, dotted: set[str]) -> StrokeKind:
    if group.tremolo:
        return StrokeKind.TREMOLO
    if "hooked" in group.ways:
        return StrokeKind.HOOKED
    new = [m for m in group.moments if not m.continues]
    if "portato" in group.ways or (len(new) > 1 and all(any(e.address in dotted for e in m.events) for m in new)):
        return StrokeKind.PORTATO
    return StrokeKind.SLURRED if "slur" in group.ways and len(new) > 1 else StrokeKind.SINGLE


def _seconds(moments: tuple[Moment, ...], tempi: Tempi) -> Fraction | None:
    if any(m.fermata for m in moments):
        return None
    return sum((m.seconds(tempi) for m in moments), Fraction(0))


def _label(line: Line, moment: Moment) -> str:
    bar = line.bar(moment.main.bar)
    return f"bar {bar.number}, beat {beat_label(bar.beat(moment.main.onset))}"


def _reasons(line: Line, groups: tuple[Group, ...], joins: list[Join], directions: list[Direction]) -> list[str]:
    """A sentence part for every group: why it goes the way it goes."""
    ahead: list[Group | None] = []
    coming: Group | None = None
    for group, join in zip(reversed(groups), reversed(joins), strict=True):
        coming = group if group.mark else coming
        ahead.append(coming)
        coming = None if join.start or join.either else coming
    ahead.reverse()
    out: list[str] = []
    told = False  # by a mark since the last start
    for place, (group, join, way) in enumerate(zip(groups, joins, directions, strict=True)):
        told = told and not (join.start or join.either)
        coming = ahead[place]
        if group.mark:
            out.append("marked")
            told = True
        elif (join.start or join.either) and way == join.habit:
            on = "an upbeat" if way is Direction.UP else "the beat"
            out.append(f"a start on {on}, {way} by habit")
        elif not told and coming is not None:
            out.append(f"so that the {coming.mark}-bow in {_label(line, coming.first)} holds")
        elif way != _ends(groups[place - 1], directions[place - 1]):
            out.append("alternates")
        elif join.retake:
            out.append("lifted and set again, as marked")
        elif join.rest:
            out.append("set again after a rest")
        else:
            out.append("repeats the direction, so that the marks around it hold")
    return out


def _starts(line: Line, groups: tuple[Group, ...], joins: list[Join], directions: list[Direction]) -> list[Finding]:
    if not groups or any(g.mark for g in groups):
        return []
    way = directions[0]
    on = "an upbeat" if is_upbeat(line, groups[0].first) else "the beat"
    text = f"No bow direction is marked; the start in {{where}}, on {on}, is taken {way} by habit."
    return [finding(line, groups[0].first.address, FindingKind.HABIT, text)]


def _repeats(line: Line, strokes: list[Stroke]) -> list[Finding]:
    """Repeats and da capos that begin on the other bow."""
    earlier: dict[tuple[str, int], Direction] = {}
    out: list[Finding] = []
    jumped = False
    last_bar = None
    for stroke in strokes:
        first = stroke.moments[0]
        bar = (first.main.bar, first.pass_number)
        jumped = bar != last_bar and first.after_jump
        last_bar = (stroke.moments[-1].main.bar, stroke.moments[-1].pass_number)
        earlier[first.address, first.pass_number] = stroke.direction
        before = earlier.get((first.address, first.pass_number - 1))
        if jumped and before is not None and before != stroke.direction:
            text = f"The repeat from {{where}} begins {stroke.direction}-bow; the time before it began {before}."
            out.append(finding(line, first.address, FindingKind.REPEAT, text))
    return out


def _open_tempi(line: Line, tempi: Tempi) -> list[Finding]:
    """Words inside the line whose tempo nobody can know."""
    out = []
    for each in tempi.untold:
        bar = line.bar(each.index)
        at = bar.onset + each.onset
        note = next((e for e in line.events if line.time(e) >= at), None)
        if note is None:
            continue
        going = f"seconds go on at {tempo_figure(each.tempo)} quarter notes a minute."
        how = "changes the tempo by and by" if each.bends else "has no number"
        where = f"bar {bar.number}, beat {beat_label(bar.beat(each.onset))}"
        text = f"“{each.words}” in {where} {how}: {going}"
        out.append(Finding(note.address, bar.number, bar.beat(each.onset), FindingKind.TEMPO, text))
    return out
