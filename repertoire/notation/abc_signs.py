"""What the decorations of ABC mean as marks, and what becomes of slurs and hairpins.

Follows the ABC music standard 2.1, sections 4.11, 4.14 and 4.16. A decoration that has no
kind of mark is named in a remark; none is dropped in silence.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from repertoire.technique.marks import DYNAMICS, TEXT_LIMIT, Kind

from . import wording
from .drafts import Draft, DraftMark, DraftMovement, Member

Tell = Callable[[str, tuple[int, int]], None]

LETTERS: Mapping[str, str] = {
    ".": "staccato", "~": "roll", "H": "fermata", "L": "accent", "M": "lowermordent", "O": "coda",
    "P": "uppermordent", "S": "segno", "T": "trill", "u": "upbow", "v": "downbow",
}  # fmt: skip
_MARKS: Mapping[str, tuple[Kind, str]] = {
    "staccato": (Kind.ARTICULATION, "staccato"),
    "wedge": (Kind.ARTICULATION, "staccatissimo"),
    "tenuto": (Kind.ARTICULATION, "tenuto"),
    ">": (Kind.ARTICULATION, "accent"),
    "accent": (Kind.ARTICULATION, "accent"),
    "emphasis": (Kind.ARTICULATION, "accent"),
    "^": (Kind.ARTICULATION, "marcato"),
    "marcato": (Kind.ARTICULATION, "marcato"),
    "breath": (Kind.ARTICULATION, "breath"),
    "caesura": (Kind.ARTICULATION, "caesura"),
    "arpeggio": (Kind.ARTICULATION, "arpeggio"),
    "upbow": (Kind.BOW, "up"),
    "downbow": (Kind.BOW, "down"),
    "+": (Kind.PIZZICATO, "left hand"),
    "plus": (Kind.PIZZICATO, "left hand"),
    "snap": (Kind.PIZZICATO, "snap"),
    "trill": (Kind.ORNAMENT, "trill"),
    "trill(": (Kind.ORNAMENT, "trill"),
    "turn": (Kind.ORNAMENT, "turn"),
    "invertedturn": (Kind.ORNAMENT, "inverted turn"),
    # The mordent with the stroke goes to the note below, that without to the note above.
    "mordent": (Kind.ORNAMENT, "mordent"),
    "lowermordent": (Kind.ORNAMENT, "mordent"),
    "uppermordent": (Kind.ORNAMENT, "inverted mordent"),
    "pralltriller": (Kind.ORNAMENT, "inverted mordent"),
    "fermata": (Kind.FERMATA, ""),
    "invertedfermata": (Kind.FERMATA, ""),
    **{f"{n}": (Kind.FINGER, f"{n}") for n in range(5)},
    **{name: (Kind.DYNAMIC, name) for name in DYNAMICS},
}
_HAIRPINS = {"<": "crescendo", "crescendo": "crescendo", ">": "diminuendo", "diminuendo": "diminuendo"}
_JUMPS = {"segno": "segno", "coda": "coda", "D.S.": "dalsegno", "D.C.": "dacapo", "dacapo": "dacapo",
          "dacoda": "tocoda", "fine": "fine"}  # fmt: skip
_COURTESY = "courtesy"
_TREMOLOS = {"/": 1, "//": 2, "///": 3}
_INSTEAD = {
    "5": "there is no fifth finger on a fingerboard",
    "open": "write !0! for an open string",
    "roll": "write !turn! if a turn is meant",
    "turnx": "write !turn! if a turn will do",
    "trill)": "how far a trill reaches isn’t kept; the trill is",
}
_NOT_ON_RESTS = frozenset({Kind.BOW, Kind.FINGER, Kind.ORNAMENT, Kind.PIZZICATO})


def is_known(name: str) -> bool:
    """True for a decoration that has a meaning here, kept or not."""
    span = name.rstrip("()")
    return (
        name == _COURTESY
        or name in _MARKS
        or span in _HAIRPINS
        or name in _JUMPS
        or name in _INSTEAD
        or name in _TREMOLOS
    )


@dataclass(slots=True, eq=False)
class _Open:
    draft: Draft
    value: str
    place: tuple[int, int]


class Signs:
    """Puts decorations, words, slurs and hairpins on the notes of one movement.

    `tell` takes a remark and its line and column. Call `close` after the last bar.
    """

    def __init__(self, movement: DraftMovement, tell: Tell) -> None:
        self.movement, self.tell = movement, tell
        self.slurs: list[_Open] = []
        self.hairpins: list[_Open] = []
        self.jump = ""

    def _add(
        self, kind: Kind, at: Draft, value: str, member: Member | None = None, options: dict[str, str] | None = None
    ) -> None:
        self.movement.marks.append(DraftMark(kind, at, value, None, tuple((options or {}).items()), member))

    def put(self, names: list[tuple[str, tuple[int, int]]], at: Draft, member: Member | None = None) -> None:
        """Put decorations on a note, chord or rest, or on one member of a chord."""
        fingers = [(n, p) for n, p in names if n in _MARKS and _MARKS[n][0] is Kind.FINGER]
        for name, place in names:
            if (name, place) not in fingers:
                self._one(name, place, at, member)
        if fingers:
            self._fingers(fingers, at, member)

    def _one(self, name: str, place: tuple[int, int], at: Draft, member: Member | None) -> None:
        if name in _MARKS:
            kind, value = _MARKS[name]
            if not at.members and (kind in _NOT_ON_RESTS or value in ("staccato", "tenuto", "accent", "arpeggio")):
                self.tell(f"The sign “{name}” on a rest.", place)
            else:
                self._add(kind, at, value)
        elif name[:-1] in _HAIRPINS and name[-1:] == "(":
            self.hairpins.append(_Open(at, _HAIRPINS[name[:-1]], place))
        elif name[:-1] in _HAIRPINS and name[-1:] == ")":
            self.end_hairpin(_HAIRPINS[name[:-1]], place, at)
        elif name in _JUMPS:
            self.note_jump(name, place)
        elif name in _TREMOLOS and at.members:
            at.tremolo = _TREMOLOS[name]
        elif name == _COURTESY and at.members:
            for m in [member] if member else at.members:
                m.accidental = f"({m.accidental})" if m.accidental and m.accidental[0] != "(" else m.accidental
        else:
            hint = f": {_INSTEAD[name]}" if name in _INSTEAD else ""
            self.tell(f"The sign “{name[:30]}”{hint}.", place)

    def _fingers(self, fingers: list[tuple[str, tuple[int, int]]], at: Draft, member: Member | None) -> None:
        """One finger a note; before a chord, as many as it has notes, the lowest first."""
        members: list[Member | None] = [member]
        if member is None and len(at.members) > 1:
            members = [*sorted(at.members, key=lambda m: (m.pitch.step, m.pitch.alter))]
        if not at.members:
            self.tell("A finger on a rest.", fingers[0][1])
        elif len(fingers) < len(members):
            self.tell("A finger before a chord: write it inside, before its note: [!1!D!2!B].", fingers[0][1])
        else:
            for (name, _), one in zip(fingers, members, strict=False):
                self._add(Kind.FINGER, at, name, one)
            for name, place in fingers[len(members) :]:
                self.tell(f"A second finger ({name}) on a note.", place)

    def note_jump(self, name: str, place: tuple[int, int]) -> None:
        """A segno, coda, D.C. and the like belongs to its bar; a bar keeps one."""
        if self.jump and self.jump != _JUMPS[name]:
            self.tell(f"A second jump sign in one bar ({name}).", place)
        else:
            self.jump = _JUMPS[name]

    def at_barline(self, names: list[tuple[str, tuple[int, int]]], last: Draft | None) -> None:
        """What stands before a barline: jumps go to the bar, ends of hairpins to its last note."""
        for name, place in names:
            if name in _JUMPS:
                self.note_jump(name, place)
            elif name[:-1] in _HAIRPINS and name[-1:] == ")" and last is not None:
                self.end_hairpin(_HAIRPINS[name[:-1]], place, last)
            else:
                self.tell(f"The sign “{name[:30]}” before a barline, where there is no note for it.", place)

    def words(self, text: str, side: str, at: Draft, *, style: str = "") -> None:
        """Words above or below a note or rest; pizz. and arco are kept as what they ask for."""
        plucked = wording.plucking(text)
        if plucked:
            self._add(Kind.PIZZICATO, at, plucked)
        elif text:
            options = {k: v for k, v in (("place", side), ("style", style)) if v}
            self._add(Kind.TEXT, at, text[:TEXT_LIMIT].strip(), options=options)

    def end_hairpin(self, value: str, place: tuple[int, int], at: Draft) -> None:
        found = next((h for h in reversed(self.hairpins) if h.value == value), None)
        if found is None:
            self.tell(f"A {value} ends that never began.", place)
            return
        self.hairpins.remove(found)
        to = at if at.order > found.draft.order else found.draft
        self.movement.marks.append(DraftMark(Kind.HAIRPIN, found.draft, found.value, to))

    def start_slur(self, at: Draft, dashed: bool, place: tuple[int, int]) -> None:
        self.slurs.append(_Open(at, "dashed" if dashed else "", place))

    def end_slur(self, at: Draft, place: tuple[int, int]) -> None:
        """Close the slur begun last, unless it begins on this very note."""
        found = next((s for s in reversed(self.slurs) if s.draft is not at), None)
        if found is None:
            found = self.slurs[-1] if self.slurs else None
            self.tell("A slur over one note." if found else "A slur ends that never began.", place)
            if found:
                self.slurs.remove(found)
            return
        self.slurs.remove(found)
        self.movement.marks.append(DraftMark(Kind.SLUR, found.draft, found.value, at))

    def close(self) -> None:
        for slur in self.slurs:
            self.tell("A slur has no end.", slur.place)
        for hairpin in self.hairpins:
            self.tell(f"A {hairpin.value} has no end.", hairpin.place)
