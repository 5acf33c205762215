"""What lessons are tested with: a short viola passage with three markings, and one lesson."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from lessons.models import Lesson
from repertoire.models import Marking, Movement, Part, Passage, Piece, Revision
from repertoire.technique.marks import Aspect, Kind, Mark, digest, dump
from studio.models import Student, Teacher

# Two bars of 4/4 in the alto clef, written for these tests.
TWO_BARS = "D4 q E4 q F#4 q G4 q | A4 h D4 h"


def make_passage(teacher: Teacher, *, title: str = "Opening", notes: str = "", **more: Any) -> Passage:
    piece = Piece.objects.create(teacher=teacher, title=more.pop("piece", "Mill Stream"), composer="Ada Fell")
    part = Part.objects.create(piece=piece, name="Viola", instrument="viola")
    revision = Revision.objects.create(part=part, source="musicxml", sha256="0" * 64)
    bars = notes.count("|") + 1 if notes else 16
    movement = Movement(revision=revision, bar_count=bars)
    if notes:
        from repertoire.notation.storing import line_to_json
        from tests.technique.lines import line

        movement.line = line_to_json(line("4/4", "alto", notes))
    movement.save()
    return Passage.objects.create(
        teacher=teacher,
        movement=movement,
        title=title,
        start_bar=1,
        end_bar=bars,
        first_number="1",
        last_number=str(bars),
    )


@pytest.fixture
def passage(teacher: Teacher) -> Passage:
    return make_passage(teacher, notes=TWO_BARS)


def make_marking(passage: Passage, number: int, name: str, *marks: Mark, **more: Any) -> Marking:
    return Marking.objects.create(
        passage=passage,
        teacher=passage.teacher,
        number=number,
        name=name,
        marks=dump(marks),
        bow_digest=digest(marks, Aspect.BOW),
        left_hand_digest=digest(marks, Aspect.LEFT_HAND),
        words_digest=digest(marks, Aspect.WORDS),
        **more,
    )


@pytest.fixture
def printed(passage: Passage) -> Marking:
    return make_marking(passage, 1, "As printed", origin="printed")


@pytest.fixture
def low(passage: Passage) -> Marking:
    marks = (Mark(Kind.FINGER, "b1n1", "0"), Mark(Kind.FINGER, "b2n1", "0"))
    return make_marking(passage, 2, "First position", *marks, reason="clear")


@pytest.fixture
def high(passage: Passage) -> Marking:
    marks = (Mark(Kind.FINGER, "b1n1", "0"), Mark(Kind.FINGER, "b2n1", "2"), Mark(Kind.STRING, "b2n1", "III"))
    return make_marking(passage, 3, "Third position", *marks, reason="warmer")


@pytest.fixture
def lesson(student: Student, teacher: Teacher) -> Lesson:
    """Thursday 26 March 2026, 16:30 in London, which is 16:30 UTC."""
    return Lesson.objects.create(
        teacher=teacher, student=student, number=1, starts=datetime(2026, 3, 26, 16, 30, tzinfo=UTC)
    )
