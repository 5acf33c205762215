"""A student's markings on one part, laid over the whole part.

Each note belongs to the passage of the student that covers it; where passages overlap, to
the one assigned later, or to one the teacher chooses. A mark stands where the passage that
owns its first note says so; notes no passage covers keep what is printed. What two
overlapping passages say differently about the same note is listed with both values.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, pairwise

from lessons.models import Assignment
from repertoire.excerpts import movement_notes, passage_line
from repertoire.markings import marks_of
from repertoire.models import Marking, Movement, Part, Passage, Revision
from repertoire.notation.cutting import marks_in
from repertoire.notation.signs import SIGNS
from repertoire.technique.line import Line, event_address, parse_address
from repertoire.technique.marks import Kind, Mark, Marks, changes
from studio.models import Student

NOTHING = "nothing"
_ONE_AT_A_TIME = (Kind.SLUR, Kind.HOOK)  # bows can't overlap


@dataclass(frozen=True, slots=True)
class Source:
    """A passage in use with its marking. Of two that overlap, the one later in a list wins."""

    assignment: Assignment
    passage: Passage
    marking: Marking
    line: Line
    marks: Marks

    @property
    def label(self) -> str:
        return f"{self.passage.title}, {self.marking.name}"


@dataclass(frozen=True, slots=True)
class Disagreement:
    """What two overlapping passages say about one note; the second of them wins."""

    where: str
    movement: Movement
    over: Source
    over_says: str
    wins: Source
    wins_says: str


@dataclass(frozen=True, slots=True)
class MergedMovement:
    """A whole movement with the marks of its passages; `printed` are the edition's own."""

    movement: Movement
    line: Line
    marks: Marks
    printed: Marks


@dataclass(frozen=True, slots=True)
class MergedPart:
    """`sources` stand in the order in which the later wins; `older` are passages of earlier
    files of the part and `unmarked` those played as printed: neither is laid over it."""

    student: Student
    part: Part
    revision: Revision
    sources: tuple[Source, ...]
    movements: tuple[MergedMovement, ...]
    disagreements: tuple[Disagreement, ...]
    older: tuple[Assignment, ...]
    unmarked: tuple[Assignment, ...]


@dataclass(frozen=True, slots=True)
class PartInUse:
    """A part on which a student has passages, first assigned first."""

    part: Part
    work: tuple[Assignment, ...]

    @property
    def passages(self) -> int:
        return len(self.work)

    @property
    def disagreements(self) -> int:
        """How many things overlapping passages say differently."""
        return len(disagreements(_sources(_newest(self.work)[1]))) if self.passages > 1 else 0


def open_work(student: Student) -> list[Assignment]:
    """The student's passages with notation, first assigned first. One query."""
    rows = (
        Assignment.objects.filter(student=student, ended=None, passage__movement__notated=True, passage__picture=None)
        .select_related("marking", "passage__movement__revision__part__piece")
        .order_by("begun", "id")
    )
    return [a for a in rows if a.passage is not None and a.passage.has_notation]


def parts_in_use(student: Student) -> list[PartInUse]:
    """The parts a student has passages on, by title. One query."""
    found: dict[int, PartInUse] = {}
    for assignment in open_work(student):
        part = _passage(assignment).movement.revision.part
        before = found[part.pk].work if part.pk in found else ()
        found[part.pk] = PartInUse(part, (*before, assignment))
    return sorted(found.values(), key=lambda p: (p.part.piece.title.casefold(), p.part.pk))


def merge(student: Student, part: Part, *, chosen: int | None = None) -> MergedPart | None:
    """The part with the student's markings; None where the student has no passage on it.

    `chosen` is the assignment whose passage wins wherever it overlaps another.
    """
    found = [a for a in open_work(student) if _passage(a).movement.revision.part_id == part.pk]
    if not found:
        return None
    newest, here = _newest(found)
    older = [a for a in found if a not in here]
    here.sort(key=lambda a: a.pk == chosen)  # stable: the chosen one last, the others by date
    sources = _sources(here)
    movements = newest.movements.select_related("revision__part__piece").order_by("number")
    return MergedPart(
        student,
        part,
        newest,
        sources,
        tuple(_merged(movement, sources) for movement in movements if movement.notated),
        disagreements(sources),
        tuple(older),
        tuple(a for a in here if a.marking is None),
    )


def _passage(assignment: Assignment) -> Passage:
    assert assignment.passage is not None  # open_work gives passages only
    return assignment.passage


def _newest(work: Sequence[Assignment]) -> tuple[Revision, list[Assignment]]:
    """The newest file of a part that has passages, and the work on it."""
    newest = max((_passage(a).movement.revision for a in work), key=lambda r: r.number)
    return newest, [a for a in work if _passage(a).movement.revision_id == newest.pk]


def _sources(work: Sequence[Assignment]) -> tuple[Source, ...]:
    return tuple(
        Source(a, _passage(a), a.marking, passage_line(_passage(a)), marks_of(a.marking))
        for a in work
        if a.marking is not None
    )


def _merged(movement: Movement, sources: Sequence[Source]) -> MergedMovement:
    line, printed = movement_notes(movement)
    owner: dict[str, Source] = {}
    mine = [s for s in sources if s.passage.movement_id == movement.pk]
    for source in mine:
        owner.update(dict.fromkeys((e.address for e in source.line.events), source))
    kept = [m for m in printed if event_address(m.at) not in owner]
    for source in mine:
        kept += [m for m in source.marks if owner.get(event_address(m.at)) is source and _in(line, m)]
    title = movement.title or line.title
    return MergedMovement(movement, replace(line, title=title), tuple(sorted(set(kept))), printed)


def _in(line: Line, mark: Mark) -> bool:
    return mark.at in line and (not mark.to or mark.to in line)


def disagreements(sources: Sequence[Source]) -> tuple[Disagreement, ...]:
    """What overlapping passages say differently, in the order of the notes; of each pair the
    later source wins."""
    found: list[tuple[tuple[int, tuple[int, int, int]], Disagreement]] = []
    for over, wins in combinations(sources, 2):
        if over.passage.movement_id != wins.passage.movement_id:
            continue
        common = _common(over.line, wins.line)
        if common is None:
            continue
        whole = movement_notes(over.passage.movement)[0]
        says: dict[tuple[str, Kind], tuple[list[Mark], list[Mark]]] = defaultdict(lambda: ([], []))
        for change in changes(marks_in(over.marks, common), marks_in(wins.marks, common)):
            for mark, side in ((change.before, 0), (change.after, 1)):
                if mark is not None:
                    says[mark.at, mark.kind][side].append(mark)
        for (at, _), (before, after) in says.items():
            told = Disagreement(
                whole.where(at), over.passage.movement, over, _told(before, whole), wins, _told(after, whole)
            )
            found.append(((over.passage.movement.number, parse_address(at)), told))
    return tuple(told for _, told in sorted(found, key=lambda pair: pair[0]))


def _common(one: Line, other: Line) -> Line | None:
    """The notes two passages share, None where they share none."""
    shared = {e.address for e in one.events} & {e.address for e in other.events}
    return one.with_events(tuple(e for e in one.events if e.address in shared)) if shared else None


def _told(marks: Iterable[Mark], line: Line) -> str:
    """`finger 3`, `slur to bar 4, beat 2`, or “nothing”."""
    words = []
    for mark in marks:
        said = SIGNS[mark.kind].spoken(mark)
        words.append(f"{said} to {line.where(mark.to)}" if mark.to else said)
    return ", ".join(words) or NOTHING


def seams(merged: MergedMovement) -> tuple[tuple[str, str], ...]:
    """Bows of two passages that run into each other: where the second begins, and both in words."""
    bows = sorted(
        (m for m in merged.marks if m.kind in _ONE_AT_A_TIME), key=lambda m: (parse_address(m.at), parse_address(m.to))
    )
    out = []
    for first, second in pairwise(bows):
        voices = {merged.line.event(m.at).voice for m in (first, second)}
        crossing = (
            parse_address(first.at) < parse_address(second.at) < parse_address(first.to) < parse_address(second.to)
        )
        if crossing and len(voices) == 1:
            out.append((merged.line.where(second.at), f"{_told([first], merged.line)}, {_told([second], merged.line)}"))
    return tuple(out)
