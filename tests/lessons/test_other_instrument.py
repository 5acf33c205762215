"""A violin passage for a student who plays the viola: offered on the way to assigning, and printed so."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from django.test import Client

from lessons import assigning
from lessons.for_the_instrument import moved_for, other_instrument
from lessons.handing_over import hand_over
from lessons.models import Assignment
from lessons.sheet_content import gather
from lessons.sheet_drawing import draw_item
from repertoire.excerpts import passage_line
from repertoire.markings import make_marking, marks_of
from repertoire.models import Movement, Part, Passage, Piece, Revision
from repertoire.notation.storing import line_to_json
from repertoire.technique.marks import dump
from studio.models import InstrumentPeriod, Student
from tests.technique.lines import line, marks

pytestmark = pytest.mark.django_db
TODAY = date(2026, 11, 25)
# D major on the violin; a fifth lower it is G major: A4 B4 C#5 D5 become D4 E4 F#4 G4.
VIOLIN = line("4/4", "treble", "A4 q B4 q C#5 q D5 q", key=2, instrument="violin")


@pytest.fixture
def passage(teacher):
    piece = Piece.objects.create(teacher=teacher, title="Four Steps")
    part = Part.objects.create(piece=piece, name="Violin", instrument="violin", edition="second set")
    revision = Revision.objects.create(part=part, source="musicxml")
    movement = Movement(revision=revision, bar_count=1)
    movement.line, movement.printed = line_to_json(VIOLIN), dump(marks("finger0 b1n1", "down b1n1"))
    movement.save()
    return Passage.objects.create(
        teacher=teacher, movement=movement, title="Steps", start_bar=1, end_bar=1, first_number="1", last_number="1"
    )


def test_it_is_offered_to_who_plays_the_other_instrument_that_day_only(passage, student, teacher):
    found = other_instrument(student, passage, TODAY)
    assert found is not None
    assert (found.plays, found.written, found.known) == ("viola", "violin", False)
    assert other_instrument(student, passage, date(2025, 1, 5)) is None  # plays nothing yet
    InstrumentPeriod.objects.create(student=student, instrument="violin", since=date(2026, 1, 1))
    fresh = type(student).objects.get(pk=student.pk)
    assert other_instrument(fresh, passage, TODAY) is None  # plays both


def test_the_moved_passage_has_other_notes_and_the_same_fingers(passage, student, teacher):
    written = marks("finger1 b1n2", "up b1n4", "finger3 b1n3")
    fingered = make_marking(passage, teacher, written, name="Mine", origin="own")
    made, carried = moved_for(student, passage, fingered)
    moved = passage_line(made)
    assert [p.name for p in moved.pitches] == ["D4", "E4", "F#4", "G4"]
    assert (moved.bars[0].key, moved.bars[0].clefs[0].name, moved.instrument) == (1, "alto", "viola")
    assert marks_of(carried) == marks_of(fingered)
    assert (carried.origin, carried.rule_version) == ("carried", "")
    assert moved_for(student, passage, fingered) == (made, carried)
    assert Passage.objects.count() == 2


def test_who_may_ask_for_it(passage, client_of, teacher, colleague, stranger, student):
    url = f"/students/{student.pk}/assign/moved"
    given = {"passage": passage.pk}
    for other in (colleague, stranger):
        assert client_of(other).post(url, given).status_code == 404
    assert Client().post(url, given)["Location"].startswith("/sign-in")
    assert client_of(teacher).get(url).status_code == 405
    for wrong in ({}, {"passage": "x"}, {"passage": passage.pk, "marking": "x"}):
        assert client_of(teacher).post(url, wrong).status_code == 404
    assert Passage.objects.count() == 1


def test_from_the_page_to_the_printed_sheet(passage, client_of, teacher, student):
    client = client_of(teacher)
    page = client.get(f"/students/{student.pk}/assign?passage={passage.pk}").content.decode()
    assert "This is written for violin; Mira plays the viola." in page
    answer = client.post(f"/students/{student.pk}/assign/moved", {"passage": passage.pk})
    made = Passage.objects.exclude(pk=passage.pk).get()
    assert f"passage={made.pk}" in answer["Location"]
    assert "plays the viola." not in client.get(answer["Location"]).content.decode()
    assigning.assign(student, begun=TODAY, passage=made, marking=made.markings.get())
    content = gather(student, None, number=1, at=datetime(2026, 11, 25, 16, tzinfo=UTC))
    drawn = draw_item(content, content.items[0], 1)
    assert len(drawn.systems) == 1
    assert Assignment.objects.get().passage == made


def test_a_colleagues_student_gets_a_version_of_the_passage_both_hold(passage, teacher, colleague, client_of, student):
    """Nils goes to Clara, who holds the violin passage from then on; Ada moves it for Mira afterwards."""
    nils = Student.objects.create(teacher=teacher, first_name="Nils")
    assigning.assign(nils, begun=date(2026, 3, 2), passage=passage)
    assigning.assign(student, begun=date(2026, 3, 2), passage=passage)
    hand_over(teacher, {nils.pk: colleague}, reason="moves", at=datetime(2026, 3, 3, tzinfo=UTC))
    InstrumentPeriod.objects.create(student=nils, instrument="viola", since=date(2026, 3, 1))
    fingered = make_marking(passage, teacher, marks("finger1 b1n2"), name="Mine", origin="own")
    adas, _ = moved_for(student, passage, fingered)
    nils = Student.objects.get(pk=nils.pk)
    assert other_instrument(nils, passage, TODAY).known is False
    claras, carried = moved_for(nils, passage, fingered)
    assert (claras.teacher, carried.teacher, adas.teacher) == (colleague, colleague, teacher)
    assert claras.movement == adas.movement  # one part for the studio
    assert assigning.assign(nils, begun=TODAY, passage=claras, marking=carried).passage == claras
    assert moved_for(nils, passage, fingered) == (claras, carried)
    page = client_of(teacher).get(f"/repertoire/passages/{passage.pk}").content.decode()
    assert f'href="/repertoire/passages/{adas.pk}"' in page
    assert f'href="/repertoire/passages/{claras.pk}"' not in page  # Ada can't open it
