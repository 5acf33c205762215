"""Which notes one bow carries: moments, joined by ties, slurs and hooked groups.

The voices of a part share one bow: a slur in any voice joins what it covers. A slur over
other slurs is phrasing. A bow sign that differs from the group it stands in splits the
group, and a retake always does; both are reported. Cue notes aren't played.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction

from .line import Event, Line, event_address
from .marks import Kind, Mark, Marks
from .played import Played, played
from .spans import spanning
from .strokes import Direction, Finding, FindingKind, Moment, finding


@dataclass
class Group:
    """Moments that one bow carries, before directions are known. `silence` is the rest before
    it in quarter notes; `fresh` means nothing came before, or pizzicato did."""

    moments: list[Moment]
    mark: Direction | None = None
    retake: bool = False
    silence: Fraction = Fraction(0)
    breath: bool = False
    fresh: bool = False
    ways: set[str] = field(default_factory=set)  # "tie", "slur", "hooked", "portato"
    tremolo: int = 0  # strokes through the stem

    @property
    def first(self) -> Moment:
        return self.moments[0]

    @property
    def beats(self) -> Fraction:
        return sum((m.beats for m in self.moments), Fraction(0))

    @property
    def bows(self) -> int | None:
        """Bow changes of a tremolo; None when it is too quick to count."""
        if not self.tremolo:
            return 1
        beams = {"eighth": 1, "16th": 2, "32nd": 3, "64th": 4}
        strokes = self.tremolo + beams.get(self.first.main.value.type, 0)
        count = self.beats * 2**strokes
        return int(count) if strokes < 3 and count.denominator == 1 and count > 0 else None


@dataclass(frozen=True)
class Joined:
    groups: tuple[Group, ...]
    pizzicato: frozenset[str]
    findings: tuple[Finding, ...]


def pizzicato_notes(line: Line, marks: Marks) -> frozenset[str]:
    """Events played pizzicato: from pizz. to arco in written order, or a single left-hand pluck."""
    signs = {event_address(m.at): m.value for m in marks if m.kind is Kind.PIZZICATO}
    out: set[str] = set()
    plucked = False
    for event in line.events:
        sign = signs.get(event.address, "")
        if sign in ("pizz", "arco"):
            plucked = sign == "pizz"
        if event.pitches and (plucked or sign == "left hand"):
            out.add(event.address)
    return frozenset(out)


def read_moments(line: Line, marks: Marks, plucked: frozenset[str] = frozenset()) -> tuple[Moment, ...]:
    """What sounds together, in played order, rests left out."""
    held = {event_address(m.at) for m in marks if m.kind is Kind.FERMATA}
    closing = _closing_graces(line, marks)
    sounding = [p for p in played(line) if p.event.pitches and not p.event.cue]
    clusters: list[list[Played]] = []
    for item in sounding:
        before = clusters[-1] if clusters else None
        together = before and (before[0].onset, before[0].pass_number) == (item.onset, item.pass_number)
        if before and (together or item.event.address in closing):
            before.append(item)
        else:
            clusters.append([item])
    whole: list[list[Played]] = []
    for cluster in clusters:  # grace notes that lead nowhere belong to what came before
        if whole and all(p.event.grace for p in cluster):
            whole[-1] += cluster
        else:
            whole.append(cluster)
    out = []
    for place, cluster in enumerate(whole):
        main = [p for p in cluster if not p.event.grace]
        onset = (main or cluster)[0].onset
        end = max(p.onset + p.event.duration for p in main or cluster)
        if place + 1 < len(whole):
            following = [p for p in whole[place + 1] if not p.event.grace] or whole[place + 1]
            end = min(end, following[0].onset)
        events = tuple(p.event for p in cluster)
        addresses = {e.address for e in events if not e.grace}
        out.append(
            Moment(
                events, cluster[0].pass_number, onset, max(end - onset, Fraction(0)), cluster[0].after_jump,
                bool(addresses & plucked), bool(addresses & held),
            )
        )  # fmt: skip
    return tuple(out)


def _closing_graces(line: Line, marks: Marks) -> frozenset[str]:
    """Grace notes slurred to the note before them and not to the one they stand at."""
    out: set[str] = set()
    for start, end, _ in spanning(line, marks, Kind.SLUR):
        if end.grace and (start.bar, start.onset) < (end.bar, end.onset):
            between = line.between(start.address, end.address)
            out |= {e.address for e in between if e.grace and e.onset == end.onset}
    return frozenset(out)


Key = tuple[int, Fraction, int, int]


def _key(line: Line, event: Event) -> Key:
    return (event.bar, event.onset, 0 if event.grace else 1, line.order(event.address) if event.grace else 0)


Span = tuple[Event, Event, Mark]


def _without_phrasing(line: Line, slurs: list[Span]) -> tuple[list[Span], list[Span]]:
    """Slurs that are bows, and slurs over other slurs. A slur is phrasing when slurs inside it
    cover at least half of the steps from note to note that it covers."""
    keyed = sorted(
        ((_key(line, span[0]), _key(line, span[1]), span) for span in slurs),
        key=lambda k: (k[0], tuple(-x for x in k[1]), k[2][2]),
    )
    keys = sorted({_key(line, e) for e in line.notes if not e.grace and not e.cue})
    bows, phrases = [], []
    for place, (start, end, span) in enumerate(keyed):
        low, high = bisect_left(keys, start), bisect_right(keys, end) - 1
        inside: set[int] = set()
        for other_start, other_end, _ in keyed[place + 1 :]:
            if other_start > end:
                break
            if other_end <= end and (other_start, other_end) != (start, end):
                inside |= set(range(bisect_left(keys, other_start), bisect_right(keys, other_end) - 1))
        if inside and 2 * len(inside) >= high - low:
            phrases.append(span)
        else:
            bows.append(span)
    return bows, phrases


class _Cover:
    """Answers which slur or hooked group carries the bow from one moment to the next."""

    def __init__(self, line: Line, spans: Iterable[Span]) -> None:
        self.spans = [(_key(line, start), _key(line, end), mark) for start, end, mark in spans]
        self.keys = sorted({_key(line, e) for e in line.notes if not e.grace and not e.cue})
        self.steps: dict[int, Mark] = {}
        for start, end, mark in self.spans:
            for step in range(bisect_left(self.keys, start), bisect_right(self.keys, end) - 1):
                self.steps.setdefault(step, mark)

    def between(self, before: Key, after: Key) -> Mark | None:
        place = bisect_left(self.keys, before)
        if place + 1 < len(self.keys) and self.keys[place] == before and self.keys[place + 1] == after:
            return self.steps.get(place)
        return next((m for start, end, m in self.spans if start <= before < after <= end), None)


def join_notes(line: Line, marks: Marks) -> Joined:
    """The groups of notes that one bow carries, in played order."""
    findings: list[Finding] = []
    plucked = pizzicato_notes(line, marks)
    standing = [m for m in marks if m.at in line]
    slurs, phrases = _without_phrasing(line, spanning(line, marks, Kind.SLUR))
    for start, _, _ in phrases:
        text = "The slur from {where} stands over other slurs and is read as phrasing, not as one bow."
        findings.append(finding(line, start.address, FindingKind.PHRASE, text))
    slurred = _Cover(line, slurs)
    hooked = _Cover(line, spanning(line, marks, Kind.HOOK))
    signs = _signs(line, standing, plucked, findings)
    retakes = {event_address(m.at) for m in standing if m.kind is Kind.RETAKE}
    breaths = {event_address(m.at) for m in standing if m.kind is Kind.ARTICULATION and m.value == "breath"}
    moments = read_moments(line, marks, plucked)

    groups: list[Group] = []
    before: Moment | None = None
    came_by: Mark | None = None
    for moment in moments:
        if moment.pizzicato:
            before, came_by = moment, None
            continue
        tremolo = max((e.tremolo for e in moment.events if not e.tremolo_pair), default=0)
        sign = next((signs[e.address] for e in (moment.main, *moment.events) if e.address in signs), None)
        lifted = any(e.address in retakes for e in moment.events)
        way, via = "", None
        if before is not None and not before.pizzicato and groups:
            here, there = _key(line, before.main), _key(line, moment.main)
            if moment.continues and any(any(e.tied_to) for e in before.events):
                way = "tie"
            elif (before.main.tremolo_pair, moment.main.tremolo_pair) == ("start", "stop"):
                way = "slur"  # a tremolo of the fingers: one bow
            if not (tremolo or groups[-1].tremolo):
                slur, hook = slurred.between(here, there), hooked.between(here, there)
                via = hook or slur
                way = hook.value if hook else "slur" if slur else way
        if way and _splits(line, groups[-1], moment, sign, lifted, way, findings):
            way = ""
        if way:
            group = groups[-1]
            if via and came_by and via != came_by and {via.kind, came_by.kind} == {Kind.SLUR} and before:
                text = "Two slurs meet on the note in {where}; they are read as one bow."
                findings.append(finding(line, before.address, FindingKind.PHRASE, text))
            group.moments.append(moment)
            group.ways.add(way)
            group.tremolo = max(group.tremolo, tremolo)
            if group.mark is None:
                group.mark = sign
        else:
            fresh = before is None or before.pizzicato
            silence = Fraction(0) if before is None else moment.onset - before.end
            breath = before is not None and any(e.address in breaths for e in before.events)
            groups.append(Group([moment], sign, lifted, silence, breath, fresh, tremolo=tremolo))
        before, came_by = moment, via
    return Joined(tuple(groups), plucked, tuple(dict.fromkeys(findings)))


def _signs(line: Line, marks: list[Mark], plucked: frozenset[str], out: list[Finding]) -> dict[str, Direction]:
    """Bow signs by event; signs that can't be used are reported."""
    signs: dict[str, Direction] = {}
    for mark in marks:
        if mark.kind not in (Kind.BOW, Kind.RETAKE):
            continue
        event = line.event(mark.at)
        what = "retake" if mark.kind is Kind.RETAKE else f"{mark.value}-bow"
        if event.is_rest or event.cue or event.address in plucked:
            on = "a rest" if event.is_rest else "a cue note" if event.cue else "a pizzicato note"
            text = f"The {what} in {{where}} stands on {on} and is left out of account."
            out.append(finding(line, mark.at, FindingKind.IGNORED, text))
        elif mark.kind is Kind.BOW:
            known = signs.setdefault(event.address, Direction(mark.value))
            if known != mark.value:
                text = f"Down-bow and up-bow are both marked in {{where}}; it is read as {known}-bow."
                out.append(finding(line, mark.at, FindingKind.CONTRADICTION, text))
    return signs


def _splits(
    line: Line, group: Group, moment: Moment, sign: Direction | None, lifted: bool, way: str, out: list[Finding]
) -> bool:
    """Whether a sign at a moment ends the bow it would have been carried in; says so if it does."""
    name = {"tie": "tie", "slur": "slur"}.get(way, "hooked group")
    if lifted:
        text = f"The retake in {{where}} stands inside a {name}; the bow is lifted there."
        out.append(finding(line, moment.address, FindingKind.CONTRADICTION, text))
        return True
    if sign is None or sign == group.mark or (group.mark is None and way in ("hooked", "portato")):
        return False
    text = f"The {sign}-bow in {{where}} stands inside a {name}; the bow is changed there."
    out.append(finding(line, moment.address, FindingKind.CONTRADICTION, text))
    return True
