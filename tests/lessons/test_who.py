"""Who uses a marking or an aspect of it, since when; several moved with one reason."""

from datetime import UTC, date, datetime

import pytest

from lessons.assigning import AssignError, assign, change_marking, end
from lessons.in_use import move_all, uses_of
from repertoire.technique.marks import Aspect, Kind, Mark
from studio.models import Student
from tests.repertoire.policy import keeps_to_its_owner

from .conftest import make_marking

pytestmark = pytest.mark.django_db

MARCH = datetime(2026, 3, 26, 16, 40, tzinfo=UTC)
MAY = datetime(2026, 5, 7, 16, 40, tzinfo=UTC)


@pytest.fixture
def wren(teacher) -> Student:
    return Student.objects.create(teacher=teacher, first_name="Wren")


def give(student, passage, marking, day=5):
    return assign(student, passage=passage, marking=marking, begun=date(2026, 3, day))


def told(uses):
    return [(use.student.first_name, use.marking.name, use.since) for use in uses]


def test_use_counts_from_the_day_it_was_given_or_changed_to(student, wren, passage, low, high):
    give(student, passage, low)
    change_marking(give(wren, passage, high), low, at=MARCH, reason="clearer")
    found = {use.student: use.since for use in uses_of(low, low.teacher)}
    assert found == {student: date(2026, 3, 5), wren: date(2026, 3, 26)}
    assert uses_of(high, high.teacher) == []


def test_an_aspect_is_shared_across_markings_and_kept_through_changes(student, wren, passage, low):
    marks = (Mark(Kind.FINGER, "b1n1", "0"), Mark(Kind.FINGER, "b2n1", "0"), Mark(Kind.BOW, "b1n1", "up"))
    bowed = make_marking(passage, 4, "First position, up", *marks)
    given = give(student, passage, low)
    change_marking(given, bowed, at=MAY)
    assert told(uses_of(low, low.teacher)) == []
    assert told(uses_of(low, low.teacher, Aspect.LEFT_HAND)) == [
        (student.first_name, "First position, up", date(2026, 3, 5))
    ]
    assert told(uses_of(low, low.teacher, Aspect.BOW)) == []
    assert told(uses_of(bowed, bowed.teacher, Aspect.BOW)) == [
        (student.first_name, "First position, up", date(2026, 5, 7))
    ]


def test_ended_work_is_no_use(student, passage, low):
    given = give(student, passage, low)
    end(given, on=date(2026, 4, 1))
    assert uses_of(low, low.teacher) == []


def test_several_move_with_one_reason_and_who_has_it_stays(student, wren, passage, low, high):
    mine, hers = give(student, passage, low), give(wren, passage, high)
    changes = move_all([mine, hers], high, reason="warmer", lesson_of=lambda s: None, at=MAY)
    assert [(c.assignment, c.before, c.after, c.reason) for c in changes] == [(mine, low, high, "warmer")]
    assert {use.student for use in uses_of(high, high.teacher)} == {student, wren}


def test_moving_nobody_is_refused(student, passage, low):
    mine = give(student, passage, low)
    with pytest.raises(AssignError, match="at least one student"):
        move_all([mine], low, reason="", lesson_of=lambda s: None, at=MAY)


def test_the_queries_do_not_grow_with_the_students(teacher, passage, low, django_assert_num_queries):
    for name in ("Ann", "Bea", "Cas"):
        give(Student.objects.create(teacher=teacher, first_name=name), passage, low)
    with django_assert_num_queries(2):
        assert len(uses_of(low, low.teacher)) == 3


# --- the page ------------------------------------------------------------------------


def test_the_page_is_its_owners(client_of, teacher, colleague, stranger, low):
    keeps_to_its_owner(f"/repertoire/markings/{low.pk}/who", client_of, teacher, (colleague, stranger))
    for other in (colleague, stranger):
        assert client_of(other).post(f"/repertoire/markings/{low.pk}/who").status_code == 404


def test_the_ticked_are_moved_from_the_page(client_of, teacher, student, wren, passage, low, high):
    mine, hers = give(student, passage, low), give(wren, passage, low)
    answer = client_of(teacher).post(
        f"/repertoire/markings/{low.pk}/who", {"assignment": [mine.pk], "to": high.pk, "reason": "warmer"}
    )
    assert (answer.status_code, answer["Location"]) == (302, f"/repertoire/markings/{high.pk}/who")
    mine.refresh_from_db()
    hers.refresh_from_db()
    assert (mine.marking, hers.marking) == (high, low)
    assert [c.reason for c in mine.marking_changes.all()] == ["warmer"]


def test_what_does_not_fit_is_answered_with_422_and_kept(client_of, teacher, student, passage, low, high):
    mine = give(student, passage, low)
    client, url = client_of(teacher), f"/repertoire/markings/{low.pk}/who"
    answer = client.post(url, {"assignment": [mine.pk], "reason": "warmer"})
    assert answer.status_code == 422
    assert "Choose the marking to move them to." in answer.content.decode()
    assert 'value="warmer"' in answer.content.decode()
    assert client.post(url, {"to": high.pk}).status_code == 422
    mine.refresh_from_db()
    assert mine.marking == low


def test_another_teachers_student_is_never_moved(client_of, teacher, stranger, student, passage, low, high):
    mine = give(student, passage, low)
    theirs = Student.objects.create(teacher=stranger, first_name="Else")
    answer = client_of(teacher).post(
        f"/repertoire/markings/{low.pk}/who", {"assignment": [mine.pk, 999], "to": high.pk}
    )
    assert answer.status_code == 302
    assert not theirs.assignments.exists()


def test_the_marking_page_leads_there(client_of, teacher, low):
    assert (
        f"/repertoire/markings/{low.pk}/who"
        in client_of(teacher).get(f"/repertoire/markings/{low.pk}").content.decode()
    )
