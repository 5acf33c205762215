"""Giving a student work, changing its marking with a reason, and what can't be."""

from __future__ import annotations

import uuid
from datetime import UTC, date, datetime

import pytest
from django.db import IntegrityError, connection, transaction
from django.db.models import ProtectedError

from lessons.assigning import (
    AssignError,
    StepPlan,
    as_last_week,
    assign,
    change_marking,
    change_steps,
    choose_to_try,
    end,
    move,
    resume,
    set_state,
)
from lessons.models import AppendOnlyError, Assignment, MarkingChange, Observation, StateChange, Step
from lessons.observing import observe
from repertoire.models import Piece
from studio.models import Student
from tests.lessons.conftest import make_passage

DAY = date(2026, 3, 26)
AT = datetime(2026, 3, 26, 16, 42, tzinfo=UTC)


def test_assigning_a_passage(student, passage, low, high, lesson):
    given = assign(
        student,
        passage=passage,
        marking=low,
        to_try=[high],
        steps=["Open strings", "  ", StepPlan("With the slurs", tempo_now=60, tempo_goal=72, minutes=5)],
        tempo_now=60,
        tempo_goal=88,
        listening_point=" the fourth finger ",
        minutes=10,
        begun=DAY,
        lesson=lesson,
    )
    assert (given.piece, given.state, given.position) == (passage.movement.revision.part.piece, "new", 0)
    assert [(s.position, s.text, s.tempo_now, s.minutes) for s in given.steps.all()] == [
        (0, "Open strings", None, None),
        (1, "With the slurs", 60, 5),
    ]
    assert list(given.to_try.all()) == [high]
    assert given.listening_point == "the fourth finger"


def test_assigning_bars_without_notation(student, teacher):
    piece = Piece.objects.create(teacher=teacher, title="Evening Study")
    given = assign(student, piece=piece, bars="9–16", begun=DAY)
    assert (given.passage, given.marking, given.bars) == (None, None, "9–16")
    assert str(given) == "Evening Study, 9–16"


@pytest.mark.parametrize(
    "what, words",
    [
        ({}, "Choose a passage"),
        ({"tempo_now": 400}, "between 20 and 320"),
        ({"steps": ["x" * 301]}, "at most 300 characters"),
    ],
)
def test_what_cannot_be_assigned(student, passage, what, words):
    with pytest.raises(AssignError, match=words):
        assign(student, begun=DAY, **({"passage": passage, **what} if what else {}))
    assert not Assignment.objects.exists()


def test_one_open_assignment_per_passage(student, passage, low):
    first = assign(student, passage=passage, marking=low, begun=DAY)
    with pytest.raises(AssignError, match="Mira already works on “Opening”"):
        assign(student, passage=passage, begun=DAY)
    end(first, on=DAY)
    second = assign(student, passage=passage, begun=DAY)
    with pytest.raises(AssignError, match="already among the current"):
        resume(first, at=AT)
    with pytest.raises(IntegrityError), transaction.atomic():
        Assignment.objects.filter(pk=first.pk).update(ended=None)
    end(second, on=DAY)
    resume(first, at=AT)
    assert Assignment.objects.get(pk=first.pk).ended is None


def test_music_of_another_teacher_cannot_be_assigned(student, colleague):
    foreign = make_passage(colleague)
    with pytest.raises(AssignError, match="another teacher"):
        assign(student, passage=foreign, begun=DAY)


def test_bars_of_a_piece_of_another_studio_cannot_be_assigned(student, stranger, colleague):
    with pytest.raises(AssignError, match="another studio"):
        assign(student, piece=make_passage(stranger).movement.revision.part.piece, bars="1–4", begun=DAY)
    piece = make_passage(colleague).movement.revision.part.piece
    assert assign(student, piece=piece, bars="1–4", begun=DAY).piece == piece


def test_markings_belong_to_the_passage_and_two_are_to_try(student, teacher, passage, printed, low, high):
    other = make_passage(teacher, title="Close", piece="Weir")
    with pytest.raises(AssignError, match="marking of another passage"):
        assign(student, passage=other, marking=low, begun=DAY)
    given = assign(student, passage=passage, marking=low, to_try=[high, printed], begun=DAY)
    with pytest.raises(AssignError, match="differ"):
        choose_to_try(given, [low])
    with pytest.raises(AssignError, match="At most two"):
        choose_to_try(given, [high, printed, low])


def test_a_marking_changes_with_a_reason_once(student, passage, low, high, lesson):
    given = assign(student, passage=passage, marking=low, to_try=[high], begun=DAY)
    token = uuid.uuid4()
    for _ in range(2):
        change_marking(given, high, reason="the hall is dry", lesson=lesson, at=AT, token=token)
    given.refresh_from_db()
    assert given.marking == high
    assert list(given.to_try.all()) == [low]
    assert [(c.before, c.after, c.reason) for c in MarkingChange.objects.all()] == [(low, high, "the hall is dry")]
    with pytest.raises(AssignError, match="already the marking in use"):
        change_marking(given, high, at=AT)


def test_the_database_refuses_a_marking_without_a_change(student, passage, low, high):
    given = assign(student, passage=passage, marking=low, begun=DAY)
    with pytest.raises(IntegrityError, match="marking change that says why"), transaction.atomic():
        Assignment.objects.filter(pk=given.pk).update(marking=high)
    change_marking(given, high, at=AT)
    with pytest.raises(IntegrityError, match="marking change that says why"), transaction.atomic():
        Assignment.objects.filter(pk=given.pk).update(marking=low)
    Assignment.objects.filter(pk=given.pk).update(minutes=12)
    assert Assignment.objects.get(pk=given.pk).marking == high


def test_every_change_of_state_is_an_event(student, passage, low, lesson):
    given = assign(student, passage=passage, marking=low, begun=DAY)
    set_state(given, "working", at=AT, lesson=lesson)
    assert set_state(given, "working", at=AT) is None  # as it was
    set_state(given, "performed", at=AT, reason=" spring  concert ")
    end(given, on=DAY)
    assert end(given, on=DAY) is None
    resume(given, at=AT)
    set_state(given, "resting", at=AT)
    resume(given, at=AT)
    told = [(c.before, c.after, c.marking, c.reason, c.lesson) for c in StateChange.objects.order_by("id")]
    assert told == [
        ("new", "working", low, "", lesson),
        ("working", "performed", low, "spring concert", None),
        ("performed", "ended", low, "", None),
        ("ended", "performed", low, "", None),
        ("performed", "resting", low, "", None),
        ("resting", "working", low, "", None),
    ]
    # Without a time an end is told at noon of its day, in London.
    assert StateChange.objects.get(after="ended").at == datetime(2026, 3, 26, 12, tzinfo=UTC)
    given.refresh_from_db()
    assert (given.state, given.ended) == ("working", None)


def test_the_database_refuses_a_state_without_a_change(student, passage):
    given = Assignment.objects.filter(pk=assign(student, passage=passage, begun=DAY).pk)
    for change, words in (
        ({"state": "secure"}, "since when"),
        ({"ended": DAY}, "says when"),
    ):
        with pytest.raises(IntegrityError, match=words), transaction.atomic():
            given.update(**change)
    end(given.get(), on=DAY)
    with pytest.raises(IntegrityError, match="says when"), transaction.atomic():
        given.update(ended=None)
    with pytest.raises(IntegrityError, match="never rewritten"), transaction.atomic():
        StateChange.objects.update(reason="other")
    with pytest.raises(AppendOnlyError):
        StateChange.objects.all().delete()


def test_the_database_keeps_student_and_music(student, teacher, passage):
    given = assign(student, passage=passage, begun=DAY)
    other = Student.objects.create(teacher=teacher, first_name="Noor")
    for change in ({"student": other}, {"passage": None}):
        with pytest.raises(IntegrityError, match="keeps its student and its music"), transaction.atomic():
            Assignment.objects.filter(pk=given.pk).update(**change)


def test_marking_changes_are_never_rewritten_or_deleted(student, passage, low, high):
    given = assign(student, passage=passage, marking=low, begun=DAY)
    change = change_marking(given, high, reason="warmer", at=AT)
    with pytest.raises(IntegrityError, match="never rewritten"), transaction.atomic():
        MarkingChange.objects.update(reason="other")
    with pytest.raises(IntegrityError, match="never rewritten"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE lessons_markingchange SET reason = 'other'")
    with pytest.raises(AppendOnlyError):
        change.delete()
    with pytest.raises(AppendOnlyError):
        MarkingChange.objects.all().delete()
    assert MarkingChange.objects.get().reason == "warmer"


def test_markings_in_use_cannot_be_deleted(student, passage, low, high):
    given = assign(student, passage=passage, marking=low, begun=DAY)
    change_marking(given, high, at=AT)
    for marking in (low, high):
        with pytest.raises(ProtectedError):
            marking.delete()


def test_steps_that_were_heard_are_ended_not_rewritten(student, passage, lesson):
    given = assign(student, passage=passage, steps=["Slow", "Slurred", "With dynamics"], begun=DAY)
    heard = given.steps.get(text="Slow")
    observe(lesson, given, step=heard, outcome="better", at=AT)
    change_steps(given, ["With dynamics", "Slow, singing"], on=date(2026, 4, 2))
    assert [(s.position, s.text, s.ended) for s in given.steps.filter(ended=None)] == [
        (0, "With dynamics", None),
        (1, "Slow, singing", None),
    ]
    heard.refresh_from_db()
    assert (heard.text, heard.ended) == ("Slow", date(2026, 4, 2))
    assert Observation.objects.get().step == heard
    assert not Step.objects.filter(text="Slurred").exists()


def test_order_of_work(student, teacher):
    piece = Piece.objects.create(teacher=teacher, title="Scales")
    first, second, third = (assign(student, piece=piece, bars=key, begun=DAY) for key in ("D", "G", "C"))
    move(third, earlier=True)
    move(first, earlier=True)
    assert [a.bars for a in student.assignments.all()] == ["D", "C", "G"]
    move(first, earlier=False)
    assert [a.bars for a in student.assignments.all()] == ["C", "D", "G"]
    assert second.bars == "G"


def test_as_last_week(student, teacher, lesson):
    piece = Piece.objects.create(teacher=teacher, title="Scales")
    old = assign(student, piece=piece, bars="D", begun=date(2026, 3, 19))
    resting = assign(student, piece=piece, bars="G", begun=date(2026, 3, 19), state="resting")
    fresh = assign(student, piece=piece, bars="C", begun=DAY, lesson=lesson)
    gone = assign(student, piece=piece, bars="F", begun=date(2026, 3, 19))
    end(gone, on=DAY)
    goes_on = as_last_week(student, lesson=lesson, at=AT)
    assert [(a.bars, a.state) for a in goes_on] == [("D", "working"), ("C", "new")]
    resting.refresh_from_db()
    assert resting.state == "resting"
    events = StateChange.objects.exclude(after="ended").values_list("assignment", "before", "after", "lesson")
    assert list(events) == [(old.pk, "new", "working", lesson.pk)]
    assert {a.pk for a in goes_on} == {old.pk, fresh.pk}
