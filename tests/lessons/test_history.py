"""The history tells everything in its order; the report can't tell what is private."""

from __future__ import annotations

import dataclasses
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from lessons.assigning import as_last_week, assign, change_marking, end, resume, set_state
from lessons.history import Filters, TempoCourse, TempoPoint, read_history
from lessons.models import Lesson, Observation
from lessons.observing import flag, observe, withdraw
from lessons.report import make_report
from lessons.tempo_picture import tempo_picture
from repertoire.models import Piece
from studio.models import Guardian, Guardianship, Student

START = datetime(2026, 1, 13, 16, 30, tzinfo=UTC)


def make_lessons(teacher, student, count):
    return [
        Lesson.objects.create(
            teacher=teacher, student=student, number=n + 1, starts=START + timedelta(weeks=n), attendance="attended"
        )
        for n in range(count)
    ]


@pytest.fixture
def told(teacher, student, passage, low, high):
    """Three lessons: begun, one change of marking, one shared and one private observation."""
    first, second, third = make_lessons(teacher, student, 3)
    work = assign(student, begun=date(2026, 1, 13), passage=passage, marking=low, tempo_goal=80, lesson=first)
    observe(first, work, at=first.starts, outcome="not yet", tempo=60, theme="intonation", text="third finger low")
    second.note, second.private_note = "Shift begun.", "father asked about fees"
    second.save()
    change_marking(work, high, reason="ready for the shift", lesson=second, at=second.starts)
    observe(second, work, at=second.starts, outcome="same", tempo=63, theme="bow", text="rushed", shared=True)
    slip = observe(third, work, at=third.starts, outcome="better", tempo=120, text="a slip of the finger")
    withdraw(slip, at=third.starts)
    observe(third, work, at=third.starts, outcome="better", tempo=72, theme="intonation", text="true", shared=True)
    flag(third, work, at=third.starts, theme="rhythm", text="do not rush")
    return work


def test_newest_lesson_first_with_all_that_belongs_to_it(student, told):
    days = read_history(student).days
    assert [d.lesson.number for d in days] == [3, 2, 1]
    assert [o.text for o in days[0].observations] == ["true"]  # what was taken back is not told
    assert [p.text for p in days[0].points] == ["do not rush"]
    assert [(c.before.name, c.after.name, c.reason) for c in days[1].changes] == [
        ("First position", "Third position", "ready for the shift")
    ]
    assert days[2].begun == [told]


def test_tempo_course_with_its_changes(student, told):
    (course,) = read_history(student).courses
    assert [p.tempo for p in course.points] == [60, 63, 72]
    assert course.goal == 80
    assert course.changes == ((date(2026, 1, 20), "Third position"),)


def test_a_step_that_was_judged_is_named(client_of, teacher, student, told):
    step = told.steps.create(text="open strings first")
    lesson = student.lessons.get(number=3)
    observe(lesson, told, step=step, at=lesson.starts, outcome="not yet", shared=True)
    assert "open strings first" in client_of(teacher).get(reverse("history", args=[student.pk])).content.decode()
    heard = make_report(student, date(2026, 1, 1), date(2026, 3, 1)).heard
    assert [h.step for h in heard if h.outcome == "not yet"] == ["open strings first"]


def test_a_tempo_belongs_to_its_lessons_day(student, told):
    """Noted a day late from the next lesson's room, it still counts for the lesson it was heard in."""
    lesson = student.lessons.get(number=2)
    observe(lesson, told, at=lesson.starts + timedelta(days=7), tempo=66)
    (course,) = read_history(student).courses
    assert [(p.day, p.tempo) for p in course.points][1] == (date(2026, 1, 20), 66)


def test_filters(teacher, student, told):
    by_theme = read_history(student, Filters(theme="intonation"))
    assert [o.text for d in by_theme.days for o in d.observations] == ["true", "third finger low"]
    assert not [c for d in by_theme.days for c in d.changes]
    other = Piece.objects.create(teacher=teacher, title="Scales")
    assign(student, begun=date(2026, 1, 20), piece=other, bars="1–8")
    only = read_history(student, Filters(piece=other.pk))
    assert [[str(a) for a in d.begun] for d in only.days] == [["Scales, 1–8"]]


def test_a_planned_lesson_is_not_history_until_something_was_noted(teacher, student, told):
    planned = make_lesson_at(teacher, student, START + timedelta(weeks=9))
    days = read_history(student, until=START + timedelta(weeks=3)).days
    assert planned not in [d.lesson for d in days]
    observe(planned, told, at=START + timedelta(weeks=3), outcome="better")
    assert planned in [d.lesson for d in read_history(student, until=START + timedelta(weeks=3)).days]


def make_lesson_at(teacher, student, starts):
    return Lesson.objects.create(teacher=teacher, student=student, number=99, starts=starts)


def test_what_ended_between_lessons_has_its_own_day(student, told):
    end(told, on=date(2026, 1, 29))
    days = read_history(student).days
    assert [(d.day, d.lesson) for d in days][:1] == [(date(2026, 1, 29), None)]


def test_states_are_events_of_their_lessons(client_of, teacher, student, told, high):
    _, second, third = student.lessons.order_by("number")
    as_last_week(student, lesson=second, at=second.starts)
    set_state(told, "performed", at=third.starts, lesson=third, reason="spring concert")
    end(told, on=date(2026, 1, 29))
    resume(told, at=START + timedelta(days=30))
    turns = [
        (d.day, [(words, [(t.reason, t.marking) for t in turns]) for words, turns in d.turns])
        for d in read_history(student).days
        if d.states
    ]
    assert turns == [
        (date(2026, 2, 12), [("Taken up again", [("", high)])]),
        (date(2026, 1, 29), [("Done with", [("", high)])]),
        (date(2026, 1, 27), [("Performed", [("spring concert", high)])]),
        (date(2026, 1, 20), [("Now working on", [("", high)])]),
    ]
    page = client_of(teacher).get(reverse("history", args=[student.pk])).content.decode()
    event = page.partition("<strong>Performed:</strong>")[2].partition("</p>")[0]
    assert "Mill Stream: Opening" in event
    assert "Third position" in event
    assert "spring concert" in event
    assert not [d for d in read_history(student, Filters(theme="bow")).days if d.states]


def test_the_report_tells_each_state_as_it_was_on_its_last_day(student, told):
    set_state(told, "working", at=START)
    set_state(told, "secure", at=START + timedelta(days=7), reason="told to the teacher alone")
    set_state(told, "performed", at=START + timedelta(days=14))
    end(told, on=date(2026, 2, 10))

    def stood(until):
        report = make_report(student, date(2026, 1, 1), until)
        return [(w.state, w.turned, w.ended) for w in (*report.current, *report.finished)]

    assert stood(date(2026, 1, 14)) == [("working", date(2026, 1, 13), None)]
    assert stood(date(2026, 1, 20)) == [("secure", date(2026, 1, 20), None)]
    assert stood(date(2026, 1, 31)) == [("performed", date(2026, 1, 27), None)]
    assert stood(date(2026, 3, 1)) == [("performed", date(2026, 1, 27), date(2026, 2, 10))]
    assert "alone" not in str(dataclasses.astuple(make_report(student, date(2026, 1, 1), date(2026, 3, 1))))


def test_the_picture_says_its_numbers(told, student):
    drawn = tempo_picture(read_history(student).courses[0])
    assert "from 60 to 72 beats a minute in 3 lessons, goal 80" in drawn
    assert drawn.count("<circle") == 3
    assert "style=" not in drawn


def test_a_change_of_marking_stands_in_a_row_above_the_dates(told, student):
    """[A] The plot ends at 156; the number stands at 172, the dates at 202: 20 px words need 20 between them."""
    drawn = tempo_picture(read_history(student).courses[0])
    assert 'viewBox="0 0 640 210"' in drawn
    assert 'y="172" font-size="12">1</text>' in drawn
    assert drawn.count('y="202"') == 2


def test_one_tempo_makes_no_picture(told):
    assert tempo_picture(TempoCourse(told, (TempoPoint(date(2026, 1, 13), 60),), ())) == ""


def test_points_of_the_picture_lie_where_their_tempo_is(told):
    """Arithmetic: with 60 to 80 between y = 156 (bottom) and y = 22 (top), 70 lies half way, at 89."""
    points = tuple(TempoPoint(date(2026, 1, 1) + timedelta(days=10 * n), t) for n, t in enumerate((60, 70, 80)))
    told.tempo_goal = None
    drawn = tempo_picture(TempoCourse(told, points, ()))
    assert 'points="44.0,156.0 314.0,89.0 584.0,22.0"' in drawn


def test_pages_show_it(client_of, teacher, student, told):
    page = client_of(teacher).get(reverse("history", args=[student.pk])).content.decode()
    for words in ("ready for the shift", "father asked about fees", "third finger low", "Third position"):
        assert words in page
    assert "a slip of the finger" not in page


def test_the_report_holds_shared_things_only(client_of, teacher, student, told):
    student.private_notes = "tires soon"
    student.save()
    page = client_of(teacher).get(reverse("report", args=[student.pk]), {"since": "2026-01-01", "until": "2026-03-01"})
    words = page.content.decode()
    assert "true" in words
    assert "rushed" in words
    assert "Shift begun." in words
    for private in ("third finger low", "father asked about fees", "tires soon", "do not rush", "a slip of the finger"):
        assert private not in words
    assert "Holt" not in words.split("<article")[1]


def test_the_report_carries_plain_values_not_rows(student, told):
    """Nothing in a report can lead back to the database, so nothing private can be reached from it."""
    report = make_report(student, date(2026, 1, 1), date(2026, 3, 1))

    def plain(thing):
        if isinstance(thing, tuple):
            return all(map(plain, thing))
        if dataclasses.is_dataclass(thing):
            return all(plain(getattr(thing, f.name)) for f in dataclasses.fields(thing))
        return thing is None or type(thing) in (str, int, bool, date)

    assert plain(report)
    assert (report.attended, report.missed) == (3, 0)
    assert [h.text for h in report.heard] == ["true", "rushed"]


def test_report_dates_the_wrong_way_round_are_turned(client_of, teacher, student, told):
    page = client_of(teacher).get(reverse("report", args=[student.pk]), {"since": "2026-03-01", "until": "2026-01-01"})
    assert "other way round" in page.content.decode()
    assert "Shift begun." in page.content.decode()


def test_the_number_of_queries_does_not_grow(client_of, teacher, student, told):
    browser = client_of(teacher)
    address = reverse("history", args=[student.pk])

    def queries():
        with CaptureQueriesContext(
            connection,
        ) as seen:
            assert browser.get(address).status_code == 200
        return len(seen)

    few = queries()
    lessons = [
        Lesson(
            teacher=teacher, student=student, number=n, starts=START + timedelta(days=n, hours=2), attendance="attended"
        )
        for n in range(10, 60)
    ]
    Lesson.objects.bulk_create(lessons)
    Observation.objects.bulk_create(
        Observation(lesson=lesson, assignment=told, outcome="better", tempo=60 + n % 20, at=lesson.starts)
        for n, lesson in enumerate(lessons)
    )
    assert queries() == few


def test_the_report_tells_how_the_tempo_went_from_shared_observations_alone(client_of, teacher, student, told):
    (work,) = make_report(student, date(2026, 1, 1), date(2026, 3, 1)).current
    assert (work.tempo_first, work.tempo_last) == (63, 72)  # the 60 of the first lesson was not shared
    (work,) = make_report(student, date(2026, 1, 25), date(2026, 3, 1)).current
    assert (work.tempo_first, work.tempo_last) == (72, 72)
    page = client_of(teacher).get(reverse("report", args=[student.pk]), {"since": "2026-01-01", "until": "2026-03-01"})
    assert "crotchet = 63 → 72" in page.content.decode()


def test_own_words_guardians_and_siblings_of_a_report(client_of, teacher, stranger, student):
    mother = Guardian.objects.create(teacher=teacher, name="Runa Ostrow", email="runa@example.org")
    aunt = Guardian.objects.create(teacher=teacher, name="Ilka Ostrow", email="ilka@example.org")
    brother = Student.objects.create(teacher=teacher, first_name="Taro")
    for child, guardian, notes in ((student, mother, True), (student, aunt, False), (brother, mother, True)):
        Guardianship.objects.create(student=child, guardian=guardian, receives_notes=notes)
    mine, address = client_of(teacher), reverse("report", args=[student.pk])
    days = {"since": "2026-01-01", "until": "2026-03-01"}
    page = mine.post(address, days | {"words": "A happy term.\n<b>Thank you</b>"}).content.decode()
    article = page.partition("<article")[2]
    assert "A happy term.<br>&lt;b&gt;Thank you&lt;/b&gt;" in article
    assert "1 January 2026 to 1 March 2026" in article
    subject = f"Report%20for%20{student.first_name}%2C%201%20January%202026%20to%201%20March%202026"
    assert f'href="mailto:runa@example.org?subject={subject}"' in page
    assert "ilka@example.org" not in page
    assert f'<a href="/students/{brother.pk}/report">report for Taro</a>' in page
    assert "Taro" not in article
    assert "A happy term" not in mine.get(address, days).content.decode()  # not stored
    assert f'<a href="/students/{brother.pk}/">Taro</a>' in mine.get(f"/students/{student.pk}/").content.decode()


def test_a_report_speaks_to_a_grown_up_student(client_of, teacher, student, told):
    address, asked = reverse("report", args=[student.pk]), {"since": "2026-01-01", "until": "2026-03-01"}
    student.birth_year = 2008  # seventeen or eighteen on the report's last day
    student.save()
    page = client_of(teacher).get(address, asked).content.decode()
    assert "How to help at home" in page
    student.birth_year = 2007
    student.save()
    page = client_of(teacher).get(address, asked).content.decode()
    assert "Your own words to Mira" in page
    for words in ("family", "Ask to hear", "or a parent"):
        assert words not in page
