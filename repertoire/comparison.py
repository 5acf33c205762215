"""What is told about compared markings: a table of facts, and strips drawn under the system.

A row of the table is a function from one version to words; a strip is a function from a
version and its drawn system to a drawing in millimetres. Modules that know more about bow
or hand add theirs with `@row` and `@strip`. Nothing here says which version is better.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from repertoire.bow import ASKED, BowAsked, place, read
from repertoire.excerpts import Store
from repertoire.left_hand import hand, preset_for
from repertoire.markings import marks_of
from repertoire.models import Marking
from repertoire.notation.bow_strip import bow_strip
from repertoire.notation.engraving import engrave_together
from repertoire.notation.excerpt import line_digest
from repertoire.notation.left_hand_strip import Strip, left_hand_strip
from repertoire.notation.look import Look
from repertoire.notation.picture import Picture, System
from repertoire.players import Player, full_size
from repertoire.technique.bow_facts import BowFacts, facts
from repertoire.technique.bow_place import Placed
from repertoire.technique.bow_words import place_word
from repertoire.technique.bowing import Bowing
from repertoire.technique.fingering import Fingering
from repertoire.technique.left_hand import shifts
from repertoire.technique.line import Line
from repertoire.technique.marks import Marks, digest
from repertoire.technique.strings import OPEN_STRINGS, position_label
from studio.terms import worded

BOW_ROWS = (
    "Bow changes",
    "Longest stroke",
    "Fastest stroke",
    "Downbeats on a down-bow",
    "High point",
    "The last note ends",
    "Strokes for which the bow runs out",
)
POSSIBLE = "with unwritten fingers completed in one possible way"


@dataclass(frozen=True)
class Version:
    """One marking of a passage with what can be read from it; each reading is made when asked for."""

    marking: Marking
    line: Line
    instrument: str
    terms: Mapping[str, str] = field(default_factory=dict)
    player: Player | None = None  # whose hand; a full-size instrument when not given
    bow: BowAsked = ASKED

    @cached_property
    def marks(self) -> Marks:
        return marks_of(self.marking)

    @cached_property
    def bowing(self) -> Bowing:
        return read(self.line, self.marks, self.bow)

    @cached_property
    def placed(self) -> Placed:
        return place(self.bowing, self.bow)

    @cached_property
    def bow_facts(self) -> BowFacts:
        return facts(self.bowing, self.placed)

    @cached_property
    def fingering(self) -> Fingering | None:
        """A completed left hand; None where none can be found or the strings aren't known."""
        if self.instrument not in OPEN_STRINGS:
            return None
        player = self.player or full_size(self.instrument)
        return hand(self.line, self.marks, player, preset=preset_for(self.marking.passage.movement))


@dataclass(frozen=True, slots=True)
class FactRow:
    """One line of the table: a value for each version, "" where it can't be told."""

    title: str
    values: tuple[str, ...]
    note: str = ""

    @property
    def cells(self) -> tuple[tuple[str, bool], ...]:
        """Each value, and whether it differs from the first."""
        return tuple((value, value != self.values[0]) for value in self.values)


Row = Callable[[Version], str]
StripOf = Callable[[Version, System, int], Strip | None]
_rows: list[tuple[str, str, Row]] = []
_drawn: Store[str, Picture] = Store(60)
_strips: dict[str, tuple[str, StripOf]] = {}


def row(title: str, note: str = "") -> Callable[[Row], Row]:
    """Add a row to the table: the function gives the words for one version, "" for unknown."""

    def add(function: Row) -> Row:
        _rows.append((title, note, function))
        return function

    return add


def strip(key: str, name: str) -> Callable[[StripOf], StripOf]:
    """Add a strip that can be shown below the system: the function gets the version, the drawn
    system and the version's staff in it, and gives a drawing with the same in words, or None."""

    def add(function: StripOf) -> StripOf:
        _strips[key] = (name, function)
        return function

    return add


def strips() -> tuple[tuple[str, str], ...]:
    """Key and name of every strip."""
    return tuple((key, name) for key, (name, _) in _strips.items())


def drawn_together(
    staves: Sequence[tuple[str, Line, Marks]],
    look: Look,
    inferred: Sequence[Marks] = (),
    against: Marks | None = None,
    room_mm: float = 0.0,
) -> Picture:
    """Markings as staves of one system, from memory when they were drawn lately. `inferred` are
    signs nobody wrote, staff by staff; `against` rings what differs from these marks and `room_mm`
    leaves room for a strip under each staff."""
    key = " ".join(f"{label} {line_digest(line)} {digest(marks)}" for label, line, marks in staves) + repr(look)
    key += " ".join(digest(extra) for extra in inferred) + (digest(against) if against is not None else "")
    key += f" {room_mm}"
    return _drawn.get(key) or _drawn.put(key, engrave_together(staves, look, inferred, against, room_mm))


def fact_rows(versions: Iterable[Version], only: Container[str] | None = None) -> tuple[FactRow, ...]:
    """The table, without rows that nothing is known for; `only` names the rows wanted, by title."""
    versions = tuple(versions)
    wanted = (r for r in _rows if only is None or r[0] in only)
    rows = (
        FactRow(title, tuple(worded(function(v), v.terms) for v in versions), note) for title, note, function in wanted
    )
    return tuple(r for r in rows if any(r.values))


def with_strip(version: Version, system: System, key: str, *, staff: int = 0, letter: str = "") -> tuple[System, str]:
    """A system with one version's strip below it, and the strip in words. `staff` is the
    version's staff in the system and `letter` stands at the strip's left end. The system is
    returned as it is where there is nothing to show, and for an unknown key."""
    made = _strips[key][1](version, system, staff) if key in _strips else None
    if made is None or not made.drawing:
        return system, ""
    name = (
        f'<text x="0" y="{made.height_mm / 2:.2f}" font-size="3.4" font-weight="bold" '
        f'fill="currentColor">{letter}</text>'
        if letter
        else ""
    )
    return system.with_strip(name + made.drawing, made.height_mm, staff=staff), worded(made.words, version.terms)


@strip("bow", "bow distribution")
def _bow_distribution(version: Version, system: System, staff: int) -> Strip | None:
    return bow_strip(
        version.bowing, version.placed, system, staff=staff, pass_number=version.bow.pass_number, terms=version.terms
    )


@strip("hand", "left hand")
def _left_hand(version: Version, system: System, staff: int) -> Strip | None:
    return None if version.fingering is None else left_hand_strip(version.fingering, system)


@row("Bow changes")
def _bow_changes(version: Version) -> str:
    found = version.bow_facts
    if not found.strokes:
        return ""
    retakes = f", {found.retakes} with a retake" if found.retakes else ""
    return f"{found.bow_changes}{retakes}"


@row("Longest stroke")
def _longest_stroke(version: Version) -> str:
    found = version.bow_facts
    if found.longest is None or found.longest_seconds is None:
        return ""
    return f"{found.longest_seconds:.1f} s ({version.line.where(version.bowing.strokes[found.longest - 1].first)})"


@row("Fastest stroke")
def _fastest_stroke(version: Version) -> str:
    found = version.bow_facts
    if found.fastest is None or found.fastest_mm_s is None:
        return ""
    where = version.line.where(version.bowing.strokes[found.fastest - 1].first)
    faster = found.fastest_ratio is not None and found.fastest_ratio >= 1.05
    ratio = f", {found.fastest_ratio:.1f} times its slowest neighbour" if faster else ""
    return f"{found.fastest_mm_s:.0f} mm a second ({where}){ratio}"


@row("Downbeats on a down-bow")
def _downbeats(version: Version) -> str:
    found = version.bow_facts
    return f"{found.downbeats_down} of {found.downbeats}" if found.downbeats else ""


@row("High point", "the marked one, or the highest note")
def _high_point(version: Version) -> str:
    return "; ".join(
        f"{version.line.where(p.address)}: {p.direction}-bow, {place_word(p.place, version.terms)}"
        for p in version.bow_facts.high_points
        if p.direction is not None and p.place is not None
    )


@row("The last note ends")
def _last_place(version: Version) -> str:
    found = version.bow_facts
    if found.last_place is None or found.last_direction is None:
        return ""
    return f"{place_word(found.last_place, version.terms)}, {found.last_direction}-bow"


@row("Strokes for which the bow runs out")
def _runs_out(version: Version) -> str:
    return str(version.bow_facts.runs_out) if version.bow_facts.strokes else ""


@row("Shifts", POSSIBLE)
def _shifts(version: Version) -> str:
    return "" if version.fingering is None else str(len(shifts(version.fingering)))


@row("Highest position", POSSIBLE)
def _highest_position(version: Version) -> str:
    stopped = [p.position for p in version.fingering.placements if p.stopped] if version.fingering else []
    return position_label(max(stopped)) if stopped else ""


@row("Open strings", POSSIBLE)
def _open_strings(version: Version) -> str:
    return "" if version.fingering is None else str(sum(1 for p in version.fingering.placements if p.is_open))


@row("String changes inside a stroke", POSSIBLE)
def _crossings(version: Version) -> str:
    if version.fingering is None:
        return ""
    strings = {address: str(p.string) for address, p in version.fingering.by_address.items()}
    found = facts(version.bowing, version.placed, strings).crossings
    return "" if found is None else str(found)
