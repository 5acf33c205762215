"""Markings and whole parts as MusicXML files: what stands in their heads, and their names."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from repertoire.excerpts import NoNotation, movement_notes, passage_line
from repertoire.markings import marks_of
from repertoire.models import Marking, Part, Revision
from repertoire.notation.exporting import Heading, pack, write_musicxml
from repertoire.technique.line import Line
from repertoire.technique.marks import Marks

TYPES = {
    "musicxml": "application/vnd.recordare.musicxml+xml",
    "mxl": "application/vnd.recordare.musicxml",
}


@dataclass(frozen=True, slots=True)
class File:
    """A file to hand out. `omitted` says what an excerpt's edges cost it, in words."""

    name: str
    content_type: str
    data: bytes
    omitted: tuple[str, ...] = ()


def marking_file(marking: Marking, form: str, words: Mapping[str, str]) -> File:
    """A passage with one marking. Raises NoNotation."""
    passage = marking.passage
    if not passage.has_notation:
        raise NoNotation(f"“{passage}” has no notation.")
    part = passage.movement.revision.part
    heading = heading_of(part, f"{passage.title}, {passage.bars}")
    line = passage_line(passage)
    return as_file(
        [(line, marks_of(marking))], heading, form, f"{passage.title} {passage.bars} {marking.name}", words
    )  # fmt: skip


def part_file(revision: Revision, form: str, words: Mapping[str, str]) -> File:
    """A whole part as printed, all its movements. Raises NoNotation."""
    found = list(revision.movements.order_by("number"))
    movements = titled([movement_notes(m) for m in found], [m.title for m in found])
    part = revision.part
    return as_file(movements, whole_heading(part, movements), form, f"{part.piece.title} {part.name}", words)


def titled(movements: Sequence[tuple[Line, Marks]], titles: Sequence[str]) -> list[tuple[Line, Marks]]:
    """The movements under the titles they have in the studio; one without gets its number."""
    return [
        (replace(line, title=title or (f"Movement {n}" if len(movements) > 1 else "")), marks)
        for n, ((line, marks), title) in enumerate(zip(movements, titles, strict=True), 1)
    ]


def as_file(
    movements: Sequence[tuple[Line, Marks]], heading: Heading, form: str, name: str, words: Mapping[str, str]
) -> File:
    """The file in one of the forms of TYPES."""
    written = write_musicxml(movements, heading, words=words)
    data = written.data if form == "musicxml" else pack(written.data)
    return File(f"{file_name(name)}.{form}", TYPES[form], data, written.omitted)


def heading_of(part: Part, movement: str = "") -> Heading:
    return Heading(
        title=part.piece.title,
        composer=part.piece.composer,
        movement=movement,
        part=part.name,
        instrument=part.instrument,
        edition=part.edition,
        rights=part.rights,
    )


def whole_heading(part: Part, movements: Sequence[tuple[Line, Marks]]) -> Heading:
    """The heading of a whole part; a single movement's title stands in it, several have their own."""
    return heading_of(part, movements[0][0].title if len(movements) == 1 else "")


def file_name(words: str) -> str:
    """Words as a name that every file system takes."""
    kept = re.sub(r"[^\w.,()'’-]+", " ", words.replace("–", "-"))
    return kept[:100].strip(" .") or "music"
