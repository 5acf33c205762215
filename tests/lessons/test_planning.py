"""Lessons in the timetable: local times across summer time, moving, removing, the calendar."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time

import pytest

from lessons.breaks import Break
from lessons.models import Lesson
from lessons.planning import PlanError, plan_lessons, remove_lesson, times_for
from lessons.series import apply_change, change_of
from lessons.views.calendar import month_of, week_of, weeks_of
from studio.models import Student


# [P] RFC 5545 with the IANA zone data: Europe/London goes to summer time on 29 March 2026.
def test_a_weekly_lesson_keeps_its_clock_time_across_summer_time(student):
    planned = plan_lessons(student, on=date(2026, 3, 26), at=time(16, 30), weeks=2)
    assert [lesson.starts.astimezone(UTC) for lesson in planned.lessons] == [
        datetime(2026, 3, 26, 16, 30, tzinfo=UTC),
        datetime(2026, 4, 2, 15, 30, tzinfo=UTC),
    ]
    stored = Lesson.objects.order_by("starts").values_list("starts", "number")
    assert list(stored) == [
        (datetime(2026, 3, 26, 16, 30, tzinfo=UTC), 1),
        (datetime(2026, 4, 2, 15, 30, tzinfo=UTC), 2),
    ]


def test_planning_again_leaves_what_is_there(student):
    plan_lessons(student, on=date(2026, 3, 26), at=time(16, 30), weeks=2)
    again = plan_lessons(student, on=date(2026, 3, 26), at=time(16, 30), weeks=3)
    assert (len(again.lessons), len(again.there)) == (1, 2)
    assert list(Lesson.objects.order_by("starts").values_list("number", flat=True)) == [1, 2, 3]
    with pytest.raises(PlanError, match="1 to 52 weeks"):
        plan_lessons(student, on=date(2026, 3, 26), at=time(16, 30), weeks=53)


def test_lessons_at_the_same_time_are_told(student, teacher):
    noor = Student.objects.create(teacher=teacher, first_name="Noor")
    plan_lessons(noor, on=date(2026, 3, 26), at=time(16, 45), minutes=45)
    plan_lessons(noor, on=date(2026, 4, 2), at=time(17, 0))
    plan = {"on": date(2026, 3, 26), "at": time(16, 30), "minutes": 30, "weeks": 2}
    times = times_for(student, **plan)
    assert [(x.student, x.starts) for x in times.overlapping] == [(noor, datetime(2026, 3, 26, 16, 45, tzinfo=UTC))]
    assert not Lesson.objects.filter(student=student).exists()
    Lesson.objects.filter(student=noor).update(attendance="cancelled")
    assert times_for(student, **plan).overlapping == ()


def test_a_moved_lesson_stays_the_same_lesson(student, lesson):
    apply_change(change_of(lesson, on=date(2026, 3, 30), at=time(10, 0), minutes=45))
    moved = Lesson.objects.get()
    assert (moved.pk, moved.number, moved.minutes) == (lesson.pk, 1, 45)
    assert moved.starts == datetime(2026, 3, 30, 9, 0, tzinfo=UTC)
    other = plan_lessons(student, on=date(2026, 4, 6), at=time(10, 0)).lessons[0]
    with pytest.raises(PlanError, match="already a lesson"):
        change_of(other, on=date(2026, 3, 30), at=time(10, 0), minutes=30)


def test_a_lesson_with_something_noted_stays(lesson):
    lesson.note = "Good"
    lesson.save()
    with pytest.raises(PlanError, match="so it stays"):
        remove_lesson(lesson)
    lesson.note = ""
    lesson.save()
    remove_lesson(lesson)
    assert not Lesson.objects.exists()


def test_weeks_and_months():
    thursday = date(2026, 3, 26)
    assert week_of(thursday, 0) == (date(2026, 3, 23), date(2026, 3, 29))
    assert week_of(thursday, 6) == (date(2026, 3, 22), date(2026, 3, 28))
    assert week_of(thursday, 5) == (date(2026, 3, 21), date(2026, 3, 27))
    assert month_of(date(2028, 2, 3)) == (date(2028, 2, 1), date(2028, 2, 29))
    weeks = weeks_of(date(2026, 3, 1), date(2026, 3, 31), 0)
    assert [(week[0], week[-1]) for week in weeks] == [
        (date(2026, 2, 23), date(2026, 3, 1)),
        (date(2026, 3, 2), date(2026, 3, 8)),
        (date(2026, 3, 9), date(2026, 3, 15)),
        (date(2026, 3, 16), date(2026, 3, 22)),
        (date(2026, 3, 23), date(2026, 3, 29)),
        (date(2026, 3, 30), date(2026, 4, 5)),
    ]
    assert len(weeks_of(date(2026, 2, 1), date(2026, 2, 28), 6)) == 4  # February 2026 begins on a Sunday


def test_a_month_is_a_grid_of_weeks(client_of, teacher, student, lesson):
    Break.objects.create(teacher=teacher, first=date(2026, 3, 30), last=date(2026, 4, 10), words="Easter")
    Lesson.objects.create(
        teacher=teacher, student=student, number=2, attendance="cancelled", starts=datetime(2026, 3, 28, 9, tzinfo=UTC)
    )
    page = client_of(teacher).get("/lessons/?by=month&on=2026-03-01").content.decode()
    rows = page.partition("<tbody>")[2].partition("</tbody>")[0].split("</tr>")[:-1]
    cells = [[" ".join(re.sub("<[^>]+>", " ", cell).split()) for cell in row.split("</td>")[:-1]] for row in rows]
    assert [len(row) for row in cells] == [7] * 6
    assert cells[0] == ["", "", "", "", "", "", "1 March, its week"]
    assert cells[4][3:6] == [
        "26 March, its week 16:30 Mira",
        "27 March, its week",
        "28 March, its week 09:00 Mira cancelled",
    ]
    assert cells[5] == ["30 March, its week Easter", "31 March, its week Easter", "", "", "", "", ""]


def test_calendar_pages(client_of, teacher, student):
    mine = client_of(teacher)
    answer = mine.post(
        f"/students/{student.pk}/lessons/new",
        {"on": "2026-03-26", "at": "16:30", "minutes": 30, "weeks": 2},
        follow=True,
    )
    page = answer.content.decode()
    assert "2 lessons with Mira added." in page
    assert "Thursday 26 March" in page
    assert "16:30" in page
    later = mine.get("/lessons/?on=2026-04-02").content.decode()
    assert "30 Mar to 5 Apr 2026" in later
    assert "16:30" in later
    month = mine.get("/lessons/?by=month&on=2026-03-01").content.decode()
    assert "March 2026" in month
    assert month.count("lesson 1") == 1
    assert mine.get("/lessons/?on=nonsense").status_code == 200


def test_a_lesson_near_midnight_stands_on_its_local_day(client_of, teacher, student):
    # 23:30 UTC on 31 May is 00:30 on 1 June in London.
    Lesson.objects.create(teacher=teacher, student=student, number=1, starts=datetime(2026, 5, 31, 23, 30, tzinfo=UTC))
    mine = client_of(teacher)
    assert "00:30" in mine.get("/lessons/?by=month&on=2026-06-01").content.decode()
    assert "Mira" not in mine.get("/lessons/?by=month&on=2026-05-01").content.decode()


def test_moving_and_removing_by_form(client_of, teacher, lesson):
    mine, address = client_of(teacher), f"/lessons/{lesson.pk}"
    assert "2026-03-26" in mine.get(f"{address}/time").content.decode()
    assert mine.post(f"{address}/time", {"on": "2026-03-27", "at": "9:00", "minutes": 3}).status_code == 422
    assert mine.post(f"{address}/time", {"on": "2026-03-27", "at": "9:00", "minutes": 30}).status_code == 302
    lesson.refresh_from_db()
    assert lesson.starts == datetime(2026, 3, 27, 9, 0, tzinfo=UTC)
    mine.post(f"{address}/remove")
    assert not Lesson.objects.exists()
