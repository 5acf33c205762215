"""Other parts of the file a passage was read from: the lines that are played meanwhile."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from repertoire.excerpts import Store
from repertoire.models import Movement, Passage, Revision
from repertoire.notation.cutting import cut
from repertoire.notation.files import list_contents, read_part
from repertoire.notation.opening import FileError
from repertoire.technique.line import Line, LineError

_names: Store[Any, tuple[tuple[int, str], ...]] = Store(40)
_lines: Store[Any, Line] = Store(12)


class NoCue(ValueError):
    """There is no other part to show; the message says why."""


def _bytes(revision: Revision) -> bytes:
    with revision.file.open("rb") as stored:
        return bytes(stored.read())


def other_parts(movement: Movement) -> tuple[tuple[int, str], ...]:
    """Number in the file and name of every other part; none for music without a file of several."""
    revision = movement.revision
    if revision.source != Revision.Source.MUSICXML or not revision.file:
        return ()
    key = (revision.pk, revision.sha256)
    known = _names.get(key)
    if known is None:
        try:
            found = list_contents(_bytes(revision), revision.file_name).parts
        except (FileError, OSError):
            return ()
        known = _names.put(key, tuple((p.number, p.name) for p in found if not p.problem))
    own = revision.part_ref
    mine = [number for number, name in known if own in (str(number), name)]
    return tuple((number, name) for number, name in known if number not in mine[:1])


def cue_line(passage: Passage, number: int) -> Line:
    """The same bars of another part of the file. Raises NoCue."""
    movement = passage.movement
    if number not in {other for other, _ in other_parts(movement)}:
        raise NoCue("The file of this part holds no such other part.")
    revision = movement.revision
    key = (revision.pk, revision.sha256, movement.number, number)
    try:
        line = _lines.get(key) or _lines.put(key, _read(revision, movement, number))
        start = Fraction(passage.start_beat) if passage.start_beat else None
        end = Fraction(passage.end_beat) if passage.end_beat else None
        return cut(line, passage.start_bar, start, passage.end_bar, end)
    except (FileError, LineError, OSError) as error:
        raise NoCue(f"The other part can’t be shown: {error}") from None


def _read(revision: Revision, movement: Movement, number: int) -> Line:
    movements = read_part(_bytes(revision), revision.file_name, number).movements
    for found in movements:
        if found.number == movement.number:
            return found.line
    raise NoCue("The other part doesn’t have this movement.")
