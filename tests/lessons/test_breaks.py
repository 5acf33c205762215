"""Breaks and recitals: whose they are, what they do to reviews and weekly lessons, and their pages."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from lessons.assigning import assign, set_state
from lessons.breaks import Break, Recital
from lessons.handing_over import hand_over
from lessons.planning import plan_lessons
from lessons.reviewing import coming_reviews, due_for_review
from studio.personal_record import erase
from tests.lessons.conftest import make_passage
from tests.repertoire.policy import keeps_to_its_owner

pytestmark = pytest.mark.django_db


@pytest.fixture
def old(student, teacher):
    """Secure since 1 March 2026 and not heard since: due the day after. [C]"""
    work = assign(student, begun=date(2026, 3, 1), passage=make_passage(teacher, title="Old friend"))
    set_state(work, "secure", at=datetime(2026, 3, 1, 17, tzinfo=UTC))
    return work


@pytest.fixture
def other(teacher):
    return teacher.students.create(first_name="Nils")


def due(student):
    """When its one older piece is due."""
    (found,) = coming_reviews(student, date(2026, 1, 1))
    return found.due


def away(teacher, first, last, student=None, words=""):
    return Break.objects.create(teacher=teacher, student=student, first=first, last=last, words=words)


def recital(teacher, day, *pieces, student=None):
    made = Recital.objects.create(teacher=teacher, student=student, day=day, title="Winter concert")
    made.pieces.set(pieces)
    return made


# ---- reviews


def test_a_break_of_everybody_or_of_the_student_defers_a_review(old, student, teacher, other):
    assert due(student) == date(2026, 3, 2)
    away(teacher, date(2026, 3, 2), date(2026, 3, 9), other)
    assert due(student) == date(2026, 3, 2)  # another student's
    away(teacher, date(2026, 2, 28), date(2026, 3, 6))
    assert due(student) == date(2026, 3, 7)
    away(teacher, date(2026, 3, 7), date(2026, 3, 8), student)
    assert due(student) == date(2026, 3, 9)
    assert due_for_review(student, date(2026, 3, 8)) == []


def test_another_teachers_break_changes_nothing(old, student, colleague):
    away(colleague, date(2026, 3, 1), date(2026, 3, 20))
    assert due(student) == date(2026, 3, 2)


def test_a_recital_brings_its_pieces_three_days_ahead_of_it(old, student, teacher):
    """Ended long ago it would wait 30 days; the last review is three days before the recital at the latest. [C]"""
    for number, day in enumerate((2, 5, 12, 26), 1):  # held each time: the gaps of 1, 3, 7 and 14 days
        from lessons import observing
        from lessons.models import Lesson

        at = datetime(2026, 3, day, 17, tzinfo=UTC)
        lesson = Lesson.objects.create(teacher=teacher, student=student, number=number, starts=at)
        observing.observe(lesson, old, at=at, outcome="better")
    assert due(student) == date(2026, 4, 25)
    another = make_passage(teacher, title="Another", piece="Another piece").movement.revision.part.piece
    recital(teacher, date(2026, 4, 10), another, student=student)
    assert due(student) == date(2026, 4, 25)  # it isn't played there
    recital(teacher, date(2026, 4, 15), old.piece, student=student)
    assert due(student) == date(2026, 4, 12)
    recital(teacher, date(2026, 4, 8))  # everybody's, any piece
    assert due(student) == date(2026, 4, 5)


def test_a_recital_that_is_past_makes_nothing_due(old, student, teacher):
    """Not heard since 1 March, so due on the 2nd; heard four times, it waits till 25 April. [C]"""
    from lessons import observing
    from lessons.models import Lesson

    lesson = Lesson.objects.create(
        teacher=teacher, student=student, number=1, starts=datetime(2026, 3, 2, 17, tzinfo=UTC)
    )
    for day in (2, 5, 12, 26):
        observing.observe(lesson, old, at=datetime(2026, 3, day, 17, tzinfo=UTC), outcome="better")
    recital(teacher, date(2026, 4, 10))
    assert [found.due for found in due_for_review(student, date(2026, 4, 10))] == [date(2026, 4, 7)]
    assert due_for_review(student, date(2026, 4, 11)) == []
    assert [found.due for found in coming_reviews(student, date(2026, 4, 11))] == [date(2026, 4, 25)]


def test_reviews_of_many_students_take_the_same_queries(teacher, student, old, other, django_assert_max_num_queries):
    from lessons.reviewing import due_by_student

    for n in range(4):
        away(teacher, date(2026, 3, 2 + n), date(2026, 3, 3 + n), student)
        recital(teacher, date(2026, 5, 1 + n), old.piece, student=student)
    second = assign(other, begun=date(2026, 3, 1), passage=make_passage(teacher, title="Second"))
    set_state(second, "secure", at=datetime(2026, 3, 1, 17, tzinfo=UTC))
    with django_assert_max_num_queries(6):
        found = due_by_student([student.pk, other.pk], date(2026, 6, 1))
    assert set(found) == {student.pk, other.pk}


# ---- lessons


def test_lessons_planned_weekly_leave_a_break_out_and_a_single_one_does_not(student, teacher):
    """Five Tuesdays from 13 October 2026; half-term is from 26 to 30 October. [A]"""
    away(teacher, date(2026, 10, 26), date(2026, 10, 30), words="half-term")
    planned = plan_lessons(student, on=date(2026, 10, 13), at=time(16, 30), weeks=5)
    assert [timezone.localdate(lesson.starts).day for lesson in planned.lessons] == [13, 20, 3, 10]
    assert planned.left_out == (date(2026, 10, 27),)
    assert [lesson.number for lesson in planned.lessons] == [1, 2, 3, 4]
    assert len(plan_lessons(student, on=date(2026, 10, 27), at=time(9), weeks=1).lessons) == 1


# ---- pages


def test_the_pages_keep_to_their_owner(client_of, teacher, colleague, stranger, student, client):
    keeps_to_its_owner(reverse("student_breaks", args=[student.pk]), client_of, teacher, (colleague, stranger))
    rest = away(teacher, date(2026, 12, 21), date(2027, 1, 3))
    concert = recital(teacher, date(2026, 12, 12))
    for url in (reverse("break_remove", args=[rest.pk]), reverse("recital_remove", args=[concert.pk])):
        keeps_to_its_owner(url, client_of, teacher, (colleague, stranger), post=True)
    assert client.get(reverse("breaks")).status_code == 302
    assert client_of(teacher).put(reverse("breaks")).status_code == 405
    theirs = client_of(colleague).get(reverse("breaks")).content.decode()
    assert "None ahead." in theirs


def test_a_break_of_everybody_and_a_students_recital_are_noted_and_removed(client_of, teacher, student, old):
    client, soon = client_of(teacher), timezone.localdate() + timedelta(days=10)
    told = {"what": "break", "break-first": soon, "break-last": soon + timedelta(days=4), "break-words": "half-term"}
    assert client.post(reverse("breaks"), told).status_code == 302
    made = Break.objects.get()
    assert (made.student, made.words) == (None, "half-term")
    told = {"what": "recital", "recital-day": soon, "recital-title": "Concert", "recital-pieces": [old.piece_id]}
    client.post(reverse("student_breaks", args=[student.pk]), told)
    concert = Recital.objects.get()
    assert (concert.student, list(concert.pieces.all())) == (student, [old.piece])
    page = client.get(reverse("student_breaks", args=[student.pk])).content.decode()
    assert "id_break-student" not in page
    assert "id_break-student" in client.get(reverse("breaks")).content.decode()
    assert "half-term" in page
    assert "Concert" in page
    assert "Mill Stream" in page
    calendar = client.get(f"{reverse('calendar')}?on={soon:%Y-%m-%d}").content.decode()
    assert "half-term" in calendar
    assert "Concert (Mira)" in calendar
    assert "Concert on" in client.get(reverse("student", args=[student.pk])).content.decode()
    answer = client.post(reverse("recital_remove", args=[concert.pk]), {"student": student.pk})
    assert answer["Location"] == reverse("student_breaks", args=[student.pk])
    client.post(reverse("break_remove", args=[made.pk]))
    assert not Break.objects.exists()
    assert not Recital.objects.exists()


def test_what_does_not_fit_is_told_and_the_form_kept(client_of, teacher):
    told = {"what": "break", "break-first": "2027-02-10", "break-last": "2027-02-01", "break-words": "half-term"}
    answer = client_of(teacher).post(reverse("breaks"), told)
    assert answer.status_code == 422
    assert "ends before it begins" in answer.content.decode()
    assert 'value="2027-02-10"' in answer.content.decode()
    assert client_of(teacher).post(reverse("breaks"), {"what": "break"}).status_code == 422


def test_another_teachers_student_or_piece_can_not_be_named(client_of, colleague, teacher, student, old):
    soon = timezone.localdate() + timedelta(days=10)
    told = {"what": "break", "break-first": soon, "break-last": soon, "break-student": student.pk}
    assert client_of(colleague).post(reverse("breaks"), told).status_code == 422
    foreign = make_passage(colleague, title="Not hers", piece="Elsewhere").movement.revision.part.piece
    told = {"what": "recital", "recital-day": soon, "recital-title": "x", "recital-pieces": [foreign.pk]}
    assert client_of(teacher).post(reverse("student_breaks", args=[student.pk]), told).status_code == 422


def test_a_students_breaks_go_along_to_a_colleague_and_are_erased_with_the_record(teacher, colleague, student):
    mine = away(teacher, date(2026, 12, 21), date(2027, 1, 3), student)
    everybodys = away(teacher, date(2026, 12, 21), date(2027, 1, 3))
    recital(teacher, date(2026, 12, 12), student=student)
    hand_over(teacher, {student.pk: colleague}, reason="moves", at=timezone.now())
    mine.refresh_from_db()
    assert mine.teacher == colleague
    student.refresh_from_db()
    erase(student)
    assert list(Break.objects.all()) == [everybodys]
    assert not Recital.objects.exists()
