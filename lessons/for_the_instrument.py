"""A violin passage for a student who plays the viola that day, and the other way round."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from repertoire.models import Marking, MovedPassage, Passage
from repertoire.moving import OTHER, instrument_of, version_for
from repertoire.queries import passages_open_to
from studio.models import Student

_CLEFS = {"alto": "alto", "treble": "treble"}


@dataclass(frozen=True, slots=True)
class OtherInstrument:
    """What a student plays that day (`plays`) where the passage is written for `written`."""

    plays: str
    written: str
    known: bool  # the moved passage is there already

    @property
    def words(self) -> str:
        way = "a fifth lower, in alto clef" if self.plays == "viola" else "a fifth higher"
        return f"{way}, with the same fingers on the corresponding strings"


def other_instrument(student: Student, passage: Passage, day: date) -> OtherInstrument | None:
    """The instrument a passage has to be moved to for a student; None where it fits as it is."""
    written = instrument_of(passage)
    plays = {period.instrument for period in student.instruments_on(day)}
    if not written or written in plays or OTHER[written] not in plays:
        return None
    there = passages_open_to(student.teacher).filter(movement__revision__part__moved__how="fifth").values("pk")
    known = MovedPassage.objects.filter(origin=passage, passage__in=there).exists()
    return OtherInstrument(OTHER[written], written, known)


def moved_for(student: Student, passage: Passage, marking: Marking | None) -> tuple[Passage, Marking]:
    """The passage a fifth away with its marking, in the clef the student prefers; made when it
    isn't there yet. Raises MoveError."""
    to_viola = instrument_of(passage) == "violin"
    clef = _CLEFS.get(student.clef, "") if to_viola else ""
    return version_for(passage, student.teacher, marking, clef=clef)
