"""Older pieces come back by the review rule, and only those."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from lessons import observing
from lessons.assigning import assign, end, set_state
from lessons.models import Lesson
from lessons.reviewing import due_for_review
from tests.lessons.conftest import make_passage

pytestmark = pytest.mark.django_db


@pytest.fixture
def old(student, teacher):
    """Secure since it was heard as better on 1 March 2026, once: the next gap is three days."""
    work = assign(student, begun=date(2026, 2, 1), passage=make_passage(teacher, title="Old friend"))
    set_state(work, "secure", at=datetime(2026, 2, 20, 17, tzinfo=UTC))
    hear(work, teacher, 1, 1, "better")
    return work


def hear(work, teacher, number, day, outcome):
    at = datetime(2026, 3, day, 17, tzinfo=UTC)
    lesson = Lesson.objects.create(teacher=teacher, student=work.student, number=number, starts=at)
    observing.observe(lesson, work, at=at, outcome=outcome)


def titles(student, day):
    return [str(due.assignment) for due in due_for_review(student, day)]


def test_a_secure_piece_is_due_after_its_gap(student, old):
    assert titles(student, date(2026, 3, 3)) == []
    assert titles(student, date(2026, 3, 4)) == ["Mill Stream: Old friend"]


def test_what_held_waits_longer_and_what_failed_comes_sooner(student, old, teacher):
    hear(old, teacher, 2, 4, "same")
    assert titles(student, date(2026, 3, 10)) == []
    assert titles(student, date(2026, 3, 11)) == ["Mill Stream: Old friend"]  # seven days
    hear(old, teacher, 3, 11, "not yet")
    assert titles(student, date(2026, 3, 12)) == ["Mill Stream: Old friend"]  # one day


def test_work_of_this_week_is_not_review(student, old, teacher):
    set_state(old, "working", at=datetime(2026, 3, 2, 17, tzinfo=UTC))
    assert titles(student, date(2026, 6, 1)) == []


def test_an_ended_piece_comes_back_until_it_is_taken_up_again(client_of, student, old, teacher):
    end(old, on=date(2026, 3, 2))
    assert titles(student, date(2026, 3, 20)) == ["Mill Stream: Old friend"]
    assign(student, begun=date(2026, 3, 20), passage=old.passage)
    assert titles(student, date(2026, 4, 20)) == []


def test_the_students_page_offers_it(client_of, teacher, student):
    work = assign(
        student, begun=timezone.localdate() - timedelta(days=40), passage=make_passage(teacher, title="Ferry")
    )
    end(work, on=timezone.localdate() - timedelta(days=10))
    page = client_of(teacher).get(reverse("student", args=[student.pk])).content.decode()
    section = page.partition('id="review"')[2].partition("</section>")[0]
    assert "Ferry" in section
    assert 'value="resume"' in section


def test_today_lists_what_is_due_of_those_who_come(client_of, teacher, student, old):
    page = reverse("today")
    assert 'id="review"' not in client_of(teacher).get(page).content.decode()
    Lesson.objects.create(teacher=teacher, student=student, number=9, starts=timezone.now())
    section = client_of(teacher).get(page).content.decode().partition('id="review"')[2].partition("</section>")[0]
    assert "Mill Stream: Old friend" in section
    assert "secure, last 1 Mar" in section
