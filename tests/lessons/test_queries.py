"""Pages ask a number of queries that doesn't grow; who works on what; what to hear."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from time import process_time

import pytest
from django.db import connection
from django.template import Context, Template
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from lessons import queries
from lessons.assigning import assign, end
from lessons.models import Lesson, Observation
from lessons.observing import flag
from repertoire.models import Piece
from repertoire.technique.marks import Aspect
from studio.models import Student
from tests.lessons.conftest import make_marking

AT = datetime(2026, 3, 26, 16, 42, tzinfo=UTC)


@pytest.fixture
def work(student, passage, low, high, lesson):
    return assign(student, passage=passage, marking=low, to_try=[high], steps=["Slow"], begun=date(2026, 3, 19))


def count(client, address: str) -> int:
    with CaptureQueriesContext(
        connection,
    ) as found:
        assert client.get(address).status_code == 200
    return len(found)


def fill(student, work, lessons: int, observations: int) -> None:
    """Years of lessons, `observations` of them spread over."""
    start = Lesson.objects.count() + 1
    first = timezone.now() - timedelta(weeks=lessons + 2)
    made = Lesson.objects.bulk_create(
        Lesson(
            teacher=student.teacher, student=student, number=n + start, starts=first + timedelta(weeks=n),
            attendance="attended", finished=first,
        )
        for n in range(lessons)
    )  # fmt: skip
    Observation.objects.bulk_create(
        Observation(lesson=made[n % lessons], assignment=work, outcome="same", at=first + timedelta(hours=n))
        for n in range(observations)
    )


def test_the_student_page_does_not_slow_down(client_of, teacher, student, work, lesson):
    mine, address = client_of(teacher), f"/students/{student.pk}/"
    fill(student, work, 1, 1)
    mine.get(address)
    few = count(mine, address)
    fill(student, work, 499, 2999)
    assert (Lesson.objects.count(), Observation.objects.count()) == (501, 3000)
    assert count(mine, address) == few
    assert count(mine, f"/lessons/{lesson.pk}") < 30
    fastest = min(timed(mine, address) for _ in range(5))
    assert fastest < 0.2, f"{fastest * 1000:.0f} ms"


def timed(client, address: str) -> float:
    """Seconds of work for one page; what else runs on the machine doesn't count."""
    start = process_time()
    client.get(address)
    return process_time() - start


def test_more_work_asks_no_more(client_of, teacher, student, work, lesson):
    mine, address, page = client_of(teacher), f"/students/{student.pk}/", f"/lessons/{lesson.pk}"
    Observation.objects.create(lesson=lesson, assignment=work, outcome="same", at=AT)
    mine.get(address)
    few, few_in_lesson = count(mine, address), count(mine, page)
    piece = Piece.objects.create(teacher=teacher, title="Scales")
    for key in "CDEFG":
        more = assign(student, piece=piece, bars=key, steps=["Even", "Fast"], begun=date(2026, 3, 19))
        Observation.objects.create(lesson=lesson, assignment=more, outcome="same", at=AT)
    assert count(mine, address) == few
    assert count(mine, page) == few_in_lesson


def test_today_asks_no_more_for_a_full_day(client_of, teacher, student, work, lesson):
    Lesson.objects.all().update(starts=timezone.now())
    mine = client_of(teacher)
    mine.get("/")
    few = count(mine, "/")
    for n in range(8):
        other = Student.objects.create(teacher=teacher, first_name=f"S{n}")
        Lesson.objects.create(teacher=teacher, student=other, number=1, starts=timezone.now())
    assert count(mine, "/") == few


def test_what_to_hear(student, work, lesson, passage):
    for n in range(4):
        flag(lesson, work, address=f"b1n{n + 1}", text=f"flag {n}", at=AT + timedelta(minutes=n))
    assert queries.points_to_hear([student.pk]) == {
        student.pk: [
            "Mill Stream, Opening: bar 1, beat 4, G4: flag 3",
            "Mill Stream, Opening: bar 1, beat 3, F♯4: flag 2",
            "Mill Stream, Opening: bar 1, beat 2, E4: flag 1",
        ]
    }
    end(work, on=date(2026, 3, 26))
    assert queries.points_to_hear([student.pk]) == {}


def test_who_works_on_what(teacher, student, work, passage, low, high):
    noor = Student.objects.create(teacher=teacher, first_name="Noor")
    same_bow = make_marking(passage, 4, "Other words")
    assign(noor, passage=passage, marking=same_bow, begun=date(2026, 3, 19))
    piece = passage.movement.revision.part.piece
    assert queries.who_uses([low, high], teacher) == {low.pk: [student]}
    assert queries.who_works_on_passages([passage], teacher) == {passage.pk: [student, noor]}
    assert queries.who_works_on_pieces([piece], teacher) == {piece.pk: [student, noor]}
    assert queries.who_shares(low, Aspect.BOW, teacher) == [student, noor]
    assert queries.who_shares(low, Aspect.LEFT_HAND, teacher) == [student]
    end(work, on=date(2026, 3, 26))
    assert queries.who_uses([low, high], teacher) == {}


def test_who_in_a_template(student, work, passage, low, high, django_assert_num_queries):
    page = Template(
        "{% load who %}{% who_uses markings as users %}{% for m in markings %}[{% names users m %}]{% endfor %}"
        "{% who_works_on passage as workers %}{% for s in workers|of:passage %}{{ s.first_name }}{% endfor %}"
    )
    with django_assert_num_queries(2):
        shown = page.render(Context({"markings": [low, high], "passage": passage, "user": student.teacher}))
    assert shown == f'[<a href="/students/{student.pk}/">Mira</a>][]Mira'
