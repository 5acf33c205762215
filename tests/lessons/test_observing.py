"""Noting what was heard: once per token, append-only, with undo; the lesson note."""

from __future__ import annotations

import uuid
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import IntegrityError, connection, transaction

from lessons import observing
from lessons.assigning import assign, change_marking
from lessons.models import (
    AppendOnlyError,
    Assignment,
    Lesson,
    ListeningPoint,
    MarkingChange,
    Observation,
    Phrase,
    Sheet,
)
from lessons.observing import (
    NoteConflict,
    ObserveError,
    correct,
    find_action,
    flag,
    last_action,
    observe,
    save_note,
    settle,
    take_back,
    withdraw,
)
from lessons.tempo import faster, slower
from studio.models import Student

AT = datetime(2026, 3, 26, 16, 42, tzinfo=UTC)
LATER = AT + timedelta(minutes=1)


@pytest.fixture
def work(student, passage, low, high) -> Assignment:
    return assign(
        student, passage=passage, marking=low, to_try=[high], steps=["Slow"], tempo_now=60, begun=date(2026, 3, 19)
    )


def test_one_token_is_one_observation(lesson, work):
    token = uuid.uuid4()
    first = observe(lesson, work, outcome="better", at=AT, token=token)
    second = observe(lesson, work, outcome="better", at=LATER, token=token)
    assert first == second
    assert Observation.objects.count() == 1
    assert Observation.objects.get().at == AT


def test_a_token_of_another_lesson_is_refused(lesson, work, teacher):
    token = uuid.uuid4()
    observe(lesson, work, outcome="better", at=AT, token=token)
    other = Lesson.objects.create(teacher=teacher, student=lesson.student, number=2, starts=LATER)
    with pytest.raises(ObserveError, match="another lesson"):
        observe(other, work, outcome="same", at=AT, token=token)


def test_what_cannot_be_noted(lesson, work, teacher, student):
    with pytest.raises(ObserveError, match="nothing to note"):
        observe(lesson, work, at=AT)
    with pytest.raises(ObserveError, match="between 20 and 320"):
        observe(lesson, work, tempo=10, at=AT)
    other = Student.objects.create(teacher=teacher, first_name="Noor")
    theirs = Lesson.objects.create(teacher=teacher, student=other, number=1, starts=AT)
    with pytest.raises(ObserveError, match="another student"):
        observe(theirs, work, outcome="same", at=AT)
    with pytest.raises(ObserveError, match="another student"):
        flag(theirs, work, address="b1n1", at=AT)
    assert not Observation.objects.exists()


def test_a_tempo_moves_the_assignment_and_undo_moves_it_back(lesson, work):
    seen = observe(lesson, work, tempo=66, at=AT)
    work.refresh_from_db()
    assert work.tempo_now == 66
    withdraw(seen, at=LATER)
    work.refresh_from_db()
    assert work.tempo_now == 60
    assert list(Observation.objects.standing()) == []
    assert Observation.objects.count() == 2
    with pytest.raises(ObserveError, match="already corrected or taken back"):
        withdraw(seen, at=LATER)


def test_a_tempo_of_a_step_stays_with_the_step(lesson, work):
    step = work.steps.get()
    observe(lesson, work, step=step, tempo=50, at=AT)
    work.refresh_from_db()
    step.refresh_from_db()
    assert (step.tempo_now, work.tempo_now) == (50, 60)


def test_a_correction_replaces(lesson, work):
    first = observe(lesson, work, outcome="same", text="flat", theme="intonation", at=AT)
    second = correct(first, outcome="same", text="sharp", theme="intonation", at=LATER)
    assert list(Observation.objects.standing()) == [second]
    with pytest.raises(ObserveError, match="already corrected"):
        correct(first, text="again", at=LATER)


def tempo_of(work):
    work.refresh_from_db()
    return work.tempo_now


def test_a_mistaken_tempo_goes_with_its_correction(lesson, work):
    """60 stood, 200 was noted by mistake."""
    seen = observe(lesson, work, tempo=200, at=AT)
    second = correct(seen, outcome="better", at=LATER)
    assert tempo_of(work) == 60
    third = correct(second, outcome="better", tempo=66, at=LATER)
    assert tempo_of(work) == 66
    withdraw(third, at=LATER)
    assert tempo_of(work) == 60


def test_correcting_an_older_tempo_leaves_the_newer_one(lesson, work):
    first = observe(lesson, work, tempo=70, at=AT)
    observe(lesson, work, tempo=80, at=LATER)
    second = correct(first, tempo=66, at=LATER + timedelta(minutes=1))
    assert tempo_of(work) == 80
    withdraw(second, at=LATER + timedelta(minutes=2))
    assert tempo_of(work) == 80


def test_an_older_tempo_that_arrives_late_does_not_stand_over_a_newer_one(lesson, work):
    newer = observe(lesson, work, tempo=80, at=LATER)
    observe(lesson, work, tempo=70, at=AT)
    assert tempo_of(work) == 80
    withdraw(newer, at=LATER + timedelta(minutes=1))
    assert tempo_of(work) == 70


def test_what_arrives_twice_in_one_moment_is_stored_once(lesson, work, monkeypatch):
    """The second of two looks for the token before the first has stored it."""
    found = observing._known

    def twice(action):
        first = action()
        blind = iter([True])
        monkeypatch.setattr(observing, "_known", lambda *asked: None if next(blind, False) else found(*asked))
        assert action() == first
        monkeypatch.setattr(observing, "_known", found)
        return first

    one, two = uuid.uuid4(), uuid.uuid4()
    twice(lambda: observe(lesson, work, tempo=66, text="freer", at=AT, token=one))
    twice(lambda: flag(lesson, work, theme="intonation", at=AT, token=two))
    assert (Observation.objects.count(), ListeningPoint.objects.count()) == (1, 1)
    assert Phrase.objects.get(text="freer").used == 1


def test_the_database_keeps_observations(lesson, work):
    seen = observe(lesson, work, outcome="better", at=AT)
    with pytest.raises(IntegrityError, match="never rewritten"), transaction.atomic():
        Observation.objects.update(text="other")
    with pytest.raises(IntegrityError, match="never rewritten"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE lessons_observation SET shared = %s", [True])
    with pytest.raises(AppendOnlyError):
        seen.delete()
    with pytest.raises(AppendOnlyError):
        Observation.objects.standing().delete()
    with pytest.raises(IntegrityError), transaction.atomic():
        Observation.objects.create(lesson=lesson, withdrawn=True, at=AT)


def test_flags_never_touch_the_marking(lesson, work, low):
    before = low.marks
    point = flag(lesson, work, address="b2n1", theme="intonation", at=AT)
    low.refresh_from_db()
    assert low.marks == before
    assert low.children.count() == 0
    assert (point.place, str(point)) == ("bar 2, beat 1, A4", "bar 2, beat 1, A4: intonation")
    settle(point, at=LATER)
    point.refresh_from_db()
    assert (point.settled, point.settled_in) == (LATER, None)
    with pytest.raises(ObserveError, match="no note"):
        flag(lesson, work, address="bar 2", at=AT)


def test_undo_takes_the_latest_first(lesson, work, low, high):
    observe(lesson, work, outcome="better", at=AT)
    flag(lesson, work, address="b1n2", at=AT + timedelta(seconds=10))
    change_marking(work, high, lesson=lesson, at=AT + timedelta(seconds=20))
    kinds = []
    for second in range(30, 33):
        thing = last_action(lesson)
        kinds.append(type(thing).__name__)
        take_back(thing, at=AT + timedelta(seconds=second))
    assert kinds == ["MarkingChange", "ListeningPoint", "Observation"]
    assert last_action(lesson) is None
    work.refresh_from_db()
    assert work.marking == low
    assert [c.reason for c in MarkingChange.objects.all()] == ["", "undone in the lesson"]
    assert not ListeningPoint.objects.exists()


def test_undo_listens_again_for_what_was_settled(lesson, work):
    point = flag(lesson, work, address="b1n2", at=AT)
    settle(point, at=LATER, lesson=lesson)
    assert last_action(lesson) == point
    take_back(last_action(lesson), at=LATER)
    assert ListeningPoint.objects.get().settled is None


def test_the_database_keeps_issued_sheets(lesson):
    made = {"number": 1, "issued": AT, "paper": "A4", "file_name": "x.pdf", "sha256": "0", "pages": 1, "content": {}}
    Sheet.objects.create(student=lesson.student, lesson=lesson, **made)
    for change in ({"sha256": "1"}, {"content": {"item": 1}}, {"number": 2}):
        with pytest.raises(IntegrityError, match="issued sheet never changes"), transaction.atomic():
            Sheet.objects.update(**change)


def test_an_action_is_found_by_its_token(lesson, work):
    token = uuid.uuid4()
    assert find_action(lesson, token) is None
    point = flag(lesson, work, address="b1n2", at=AT, token=token)
    assert find_action(lesson, token) == point


def test_a_note_is_saved_once_and_conflicts_are_told(lesson):
    mine, theirs = uuid.uuid4(), uuid.uuid4()
    save_note(lesson, note="Good tone", private_note="", at=AT, writer=mine, base=0)
    again = save_note(lesson, note="Good tone", private_note="", at=LATER, writer=mine, base=0)
    assert (again.note_version, again.note_saved) == (1, AT)
    save_note(lesson, note="Good tone today", private_note="", at=LATER, writer=mine, base=0)
    with pytest.raises(NoteConflict) as conflict:
        save_note(lesson, note="Other words", private_note="", at=LATER, writer=theirs, base=0)
    assert conflict.value.lesson.note == "Good tone today"
    lesson.refresh_from_db()
    assert (lesson.note, lesson.note_version) == ("Good tone today", 2)


def test_wordings_used_often_are_counted(lesson, work, teacher):
    for minute in range(2):
        observe(lesson, work, text="thumb soft", theme="left hand", at=AT + timedelta(minutes=minute))
    observe(lesson, work, text="x" * 61, at=AT)
    assert [(p.text, p.used, p.theme) for p in Phrase.objects.filter(teacher=teacher)] == [
        ("thumb soft", 2, "left hand")
    ]


# [C] the traditional metronome steps, from 60 to 90 as a teacher would climb them.
def test_metronome_steps():
    climbed = [60]
    while climbed[-1] < 88:
        climbed.append(faster(climbed[-1]))
    assert climbed == [60, 63, 66, 69, 72, 76, 80, 84, 88]
    assert [slower(t) for t in (72, 70, 60, 61, 40, 144, 208)] == [69, 69, 58, 60, 38, 138, 200]
    assert [faster(t) for t in (40, 58, 118, 120, 138, 144, 200, 208, 318)] == [
        42,
        60,
        120,
        126,
        144,
        152,
        208,
        216,
        320,
    ]
    assert (faster(None), slower(None)) == (60, 60)
