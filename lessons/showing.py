"""The excerpts on the pages of lessons: the passage with the marking in use, drawn for the window."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.http import HttpRequest
from django.urls import reverse

from lessons.models import Assignment
from lessons.queries import Work
from repertoire.excerpts import passage_line, picture, printed_marks, screen_look, screen_of, thumb_look
from repertoire.models import Marking, Passage
from repertoire.notation.picture import Picture
from repertoire.technique.marks import Marks, load

CHOICE_MM = 150.0  # wide enough for a line or two of the passage, so that markings can be told apart


@dataclass(frozen=True, slots=True)
class Shown:
    """Work with its excerpt; no picture where there is no notation. `prefix` begins the ids of its notes."""

    work: Work
    picture: Picture | None
    prefix: str
    screen: str

    @property
    def excerpt_url(self) -> str:
        return reverse("work_excerpt", args=[self.work.assignment.pk])

    @property
    def notes(self) -> list[tuple[str, str]]:
        """The notes that can be flagged: (address, words)."""
        passage = self.work.assignment.passage
        if self.picture is None or passage is None or not passage.has_notation:
            return []
        line = passage_line(passage)
        return [
            (event.address, f"{line.where(event.address)}: {line.pitch(event.address).label}") for event in line.notes
        ]


def shown(request: HttpRequest, works: Iterable[Work]) -> list[Shown]:
    return [show(request, work) for work in works]


def show(request: HttpRequest, work: Work) -> Shown:
    prefix = f"w{work.assignment.pk}-"
    return Shown(work, excerpt(request, work.assignment, prefix), prefix, screen_of(request))


def excerpt(request: HttpRequest, assignment: Assignment, prefix: str) -> Picture | None:
    """The passage of an assignment with its marking, as printed where it has none."""
    passage = assignment.passage
    if passage is None or not passage.has_excerpt:
        return None
    look = screen_look(request, printed=printed_marks(passage), prefix=prefix)
    return picture(passage, _marks(passage, assignment.marking), look)


@dataclass(frozen=True, slots=True)
class Choice:
    """A marking to choose, with its first two systems as a small picture."""

    marking: Marking
    svg: str
    cut: bool = False  # the passage goes on after these systems


def choices(request: HttpRequest, passage: Passage, markings: Iterable[Marking]) -> list[Choice]:
    if not passage.has_excerpt:
        return [Choice(marking, "") for marking in markings]
    look = thumb_look(request, printed=printed_marks(passage), width_mm=CHOICE_MM)
    drawn = ((marking, picture(passage, load(marking.marks), look)) for marking in markings)
    return [
        Choice(marking, "".join(s.svg for s in found.systems[:2]), len(found.systems) > 2) for marking, found in drawn
    ]


def _marks(passage: Passage, marking: Marking | None) -> Marks:
    return load(marking.marks) if marking is not None else printed_marks(passage)
