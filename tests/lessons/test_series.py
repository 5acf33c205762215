"""Weekly rows of lessons: moved, shortened or ended from one lesson on; clashes told first; additions taken back.

London goes back to winter time on 25 October 2026 and to summer time on 28 March 2027 ([P] IANA zone data),
so that 16:30 is 15:30 UTC up to 24 October and 16:30 UTC afterwards.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import pytest

from lessons.breaks import Break
from lessons.models import Lesson
from lessons.observing import observe
from lessons.planning import PlanError, plan_lessons, take_back, untouched
from lessons.series import apply_change, change_of, remove_row, row_of
from studio.models import Student

NOW = datetime(2026, 10, 1, 12, tzinfo=UTC)


@pytest.fixture
def autumn(student) -> list[Lesson]:
    """Mira on Wednesdays at 16:30: 14, 21, 28 October and 4 November 2026, lessons 1 to 4."""
    return list(plan_lessons(student, on=date(2026, 10, 14), at=time(16, 30), weeks=4).lessons)


def times() -> list[tuple[int, datetime, int]]:
    return list(Lesson.objects.order_by("starts").values_list("number", "starts", "minutes"))


def utc(month: int, day: int, hour: int, minute: int, year: int = 2026) -> datetime:
    return datetime(year, month, day, hour, minute, tzinfo=UTC)


def test_the_same_row_is_the_same_weekday_and_clock_time(student, teacher, autumn):
    plan_lessons(student, on=date(2026, 10, 22), at=time(16, 30))  # a Thursday
    plan_lessons(student, on=date(2026, 10, 21), at=time(10, 0))  # another time
    noor = Student.objects.create(teacher=teacher, first_name="Noor")
    plan_lessons(noor, on=date(2026, 11, 4), at=time(16, 30))  # another student
    row = row_of(autumn[1], NOW)
    assert (row.own, row.later, row.staying) == (True, (autumn[2], autumn[3]), ())
    assert row.lessons == tuple(autumn[1:])
    assert row_of(autumn[3], NOW).later == ()


def test_what_is_noted_or_begun_stays_out_of_a_row(student, passage, low, autumn):
    Lesson.objects.filter(pk=autumn[1].pk).update(attendance="excused")
    observe(autumn[2], None, text="bow arm", at=NOW)
    row = row_of(autumn[0], NOW)
    assert (row.later, row.staying) == ((autumn[3],), (autumn[1], autumn[2]))
    assert row_of(autumn[1], NOW).lessons == (autumn[3],)  # itself noted, so only the later one
    assert row_of(autumn[0], utc(11, 4, 17, 0)).later == ()  # that of 4 November has begun


@pytest.mark.parametrize(
    "noted", [{"note": "x"}, {"private_note": "x"}, {"sentence": "x"}, {"attendance": "late"}, {"finished": NOW}]
)
def test_untouched_means_nothing_noted(autumn, noted):
    Lesson.objects.filter(pk=autumn[0].pk).update(**noted)
    assert set(untouched(Lesson.objects.all())) == set(autumn[1:])


def test_a_row_moves_with_its_clock_time_over_the_change_of_the_clocks(autumn):
    row = row_of(autumn[1], NOW)
    change = change_of(autumn[1], on=date(2026, 10, 23), at=time(17, 15), minutes=45, also=row.lessons)
    assert times()[1][1] == utc(10, 21, 15, 30)  # nothing is stored yet
    assert apply_change(change) == 3
    assert times() == [
        (1, utc(10, 14, 15, 30), 30),
        (2, utc(10, 23, 16, 15), 45),
        (3, utc(10, 30, 17, 15), 45),
        (4, utc(11, 6, 17, 15), 45),
    ]


@pytest.mark.parametrize(
    ("on", "first", "last"), [((2026, 10, 21), (10, 21), (11, 11)), ((2026, 10, 7), (10, 7), (10, 28))]
)
def test_a_row_moves_by_a_week_onto_its_own_times(autumn, on, first, last):
    change = change_of(autumn[0], on=date(*on), at=time(16, 30), minutes=30, also=row_of(autumn[0], NOW).lessons)
    apply_change(change)
    stored = times()
    assert [number for number, _, _ in stored] == [1, 2, 3, 4]
    assert (stored[0][1], stored[3][1]) == (utc(*first, 15, 30), utc(*last, 16, 30))


def test_a_row_does_not_move_onto_another_lesson_of_the_student(student, autumn):
    plan_lessons(student, on=date(2026, 10, 30), at=time(16, 30))
    with pytest.raises(PlanError, match="at that time on 30 October"):
        change_of(autumn[0], on=date(2026, 10, 16), at=time(16, 30), minutes=30, also=tuple(autumn))


def test_a_moved_row_tells_breaks(teacher, autumn):
    Break.objects.create(teacher=teacher, first=date(2026, 10, 26), last=date(2026, 10, 30))
    change = change_of(autumn[0], on=date(2026, 10, 16), at=time(16, 30), minutes=30, also=tuple(autumn))
    assert change.in_breaks == (date(2026, 10, 30),)


def test_a_row_ends(autumn):
    Lesson.objects.filter(pk=autumn[2].pk).update(note="Good")
    assert remove_row(row_of(autumn[1], NOW)) == 2
    assert [number for number, _, _ in times()] == [1, 3]
    with pytest.raises(PlanError, match="so they stay"):
        remove_row(row_of(autumn[2], NOW))


def test_taking_back_leaves_what_was_noted(autumn):
    Lesson.objects.filter(pk=autumn[0].pk).update(sentence="Long bows")
    assert take_back(Lesson.objects.all()) == 3
    assert [number for number, _, _ in times()] == [1]


def test_a_row_by_form(client_of, teacher, student):
    first = datetime.combine(date.today() + timedelta(days=30), time(12), tzinfo=UTC)
    row = plan_lessons(student, on=first.date(), at=time(16, 30), weeks=3).lessons
    mine, address = client_of(teacher), f"/lessons/{row[1].pk}"
    page = mine.get(f"{address}/time").content.decode()
    assert "This lesson only" in page
    assert "This and the later one" in page
    fields = {"on": first.date() + timedelta(days=7), "at": "17:00", "minutes": 40}
    mine.post(f"{address}/time", fields)
    assert list(Lesson.objects.order_by("starts").values_list("minutes", flat=True)) == [30, 40, 30]
    page = mine.get(f"/lessons/{row[0].pk}/time").content.decode()
    assert "up to" in page
    fields = {"on": first.date(), "at": "17:00", "minutes": 45, "which": "later"}
    answer = mine.post(f"/lessons/{row[0].pk}/time", fields, follow=True)
    assert "2 lessons have their new time." in answer.content.decode()
    assert list(Lesson.objects.order_by("starts").values_list("minutes", flat=True)) == [45, 40, 45]
    answer = mine.post(f"/lessons/{row[0].pk}/remove", {"which": "later"}, follow=True)
    assert "3 lessons with Mira removed." in answer.content.decode()
    assert not Lesson.objects.exists()


def test_a_clash_is_told_before_anything_is_stored(client_of, teacher, student, autumn):
    noor = Student.objects.create(teacher=teacher, first_name="Noor", surname="Lind")
    mine, address = client_of(teacher), f"/students/{noor.pk}/lessons/new"
    fields = {"on": "2026-10-21", "at": "16:45", "minutes": 30, "weeks": 2}
    answer = mine.post(address, fields)
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "Nothing is stored yet." in page
    assert "Wed 21 Oct 2026, 16:30 to 17:00" in page
    assert "Mira Holt" in page
    assert "Add them all the same" in page
    assert 'value="16:45"' in page
    assert not noor.lessons.exists()
    # Told of the first alone, a second clash is told as well.
    assert mine.post(address, fields | {"in_spite_of": f"{autumn[1].pk}"}).status_code == 409
    told = " ".join(str(lesson.pk) for lesson in autumn[1:3])
    assert mine.post(address, fields | {"in_spite_of": told}).status_code == 302
    assert noor.lessons.count() == 2
    own = noor.lessons.order_by("starts")[0]
    answer = mine.post(f"/lessons/{own.pk}/time", {"on": "2026-10-14", "at": "16:15", "minutes": 30})
    assert answer.status_code == 409
    assert "Move it all the same" in answer.content.decode()
    own.refresh_from_db()
    assert own.starts == utc(10, 21, 15, 45)


def test_an_addition_is_taken_back(client_of, teacher, student):
    mine = client_of(teacher)
    fields = {"on": "2026-10-14", "at": "16:30", "minutes": 30, "weeks": 3}
    page = mine.post(f"/students/{student.pk}/lessons/new", fields, follow=True).content.decode()
    assert "Take these 3 back" in page
    assert "Take these 3 back" in mine.get("/lessons/?on=2026-11-30").content.decode()
    Lesson.objects.filter(number=1).update(note="Good")
    assert "Take these 2 back" in mine.get("/lessons/").content.decode()
    answer = mine.post("/lessons/take-back", {"lesson": [lesson.pk for lesson in Lesson.objects.all()]}, follow=True)
    page = answer.content.decode()
    assert "2 lessons taken back." in page
    assert "Just added" not in page
    assert [number for number, _, _ in times()] == [1]
    answer = mine.post("/lessons/take-back", {"lesson": [Lesson.objects.get().pk, "x"]}, follow=True)
    assert "Nothing was taken back" in answer.content.decode()


def test_an_old_addition_is_no_longer_offered(client_of, teacher, student):
    mine = client_of(teacher)
    mine.post(f"/students/{student.pk}/lessons/new", {"on": "2026-10-14", "at": "16:30", "minutes": 30, "weeks": 1})
    assert "Take it back" in mine.get("/lessons/").content.decode()
    session = mine.session
    session["added lessons"] = [session["added lessons"][0] - 3601, session["added lessons"][1]]
    session.save()
    assert "Take it back" not in mine.get("/lessons/").content.decode()


def test_others_take_nothing_back(client_of, colleague, stranger, client, autumn):
    ids = {"lesson": [lesson.pk for lesson in autumn]}
    for person in (colleague, stranger):
        answer = client_of(person).post("/lessons/take-back", ids)
        assert (answer.status_code, answer.url) == (302, "/lessons/")
        assert client_of(person).get("/lessons/take-back").status_code == 405
    assert client.post("/lessons/take-back", ids).url.startswith("/sign-in")
    assert len(times()) == 4


def test_the_students_list_tells_lesson_times(client_of, teacher, student, autumn, monkeypatch):
    noor = Student.objects.create(teacher=teacher, first_name="Noor", surname="Lind")
    Student.objects.create(teacher=teacher, first_name="Otto")
    plan_lessons(noor, on=date(2026, 10, 8), at=time(9, 5))
    Lesson.objects.filter(pk=autumn[1].pk).update(attendance="cancelled")
    monkeypatch.setattr("django.utils.timezone.now", lambda: utc(10, 15, 12, 0))
    page = " ".join(client_of(teacher).get("/students/").content.decode().split())
    assert "Wednesday 16:30, next 28 Oct" in page  # in winter time by then, at the same clock time
    assert "Thursday 09:05, last 8 Oct" in page
    assert page.count("no lesson planned") == 1


def test_a_student_is_chosen_by_full_name(client_of, teacher, student):
    mine = client_of(teacher)
    for address in ("/lessons/new", "/lessons/breaks"):
        assert ">Mira Holt</option>" in mine.get(address).content.decode(), address
