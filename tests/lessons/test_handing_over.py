"""Students handed over: everything goes along, nothing breaks, a record stays."""

from datetime import UTC, date, datetime

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from lessons.assigning import assign, change_marking
from lessons.handing_over import HandoverError, hand_over, leave, tables_with_both
from lessons.models import Lesson, Phrase, Sheet
from lessons.step_sets import StepSet
from repertoire.models import Draft, Marking, Passage, PassageHolder, Piece
from studio.models import Guardian, Guardianship, Handover, InstrumentPeriod, Student, Teacher
from studio.personal_record import rows_of
from tests.lessons.conftest import make_passage

AT = datetime(2026, 5, 7, 12, 0, tzinfo=UTC)
DAY = date(2026, 3, 26)


@pytest.fixture
def noor(teacher):
    return Student.objects.create(teacher=teacher, first_name="Noor")


@pytest.fixture
def work(student, passage, printed, low, high, lesson):
    given = assign(student, passage=passage, marking=low, begun=DAY, steps=["Slowly"])
    change_marking(given, high, reason="warmer", lesson=lesson, at=AT)
    return given


def give(teacher, taker, *students, reason="moves to the other end of town"):
    return hand_over(teacher, {s.pk: taker for s in students}, reason=reason, at=AT)


def test_everything_goes_along_and_works(client_of, teacher, colleague, student, work, lesson, passage, low, high):
    Draft.objects.create(teacher=teacher, passage=passage, parent=low, marks={"format": 1, "marks": []})
    give(teacher, colleague, student)
    hers, mine = client_of(colleague), client_of(teacher)
    urls = [
        reverse("student", args=[student.pk]),
        reverse("student_edit", args=[student.pk]),
        reverse("history", args=[student.pk]),
        reverse("sheet_preview", args=[student.pk]),
        reverse("lesson", args=[lesson.pk]),
        reverse("assignment", args=[work.pk]),
        reverse("passage", args=[passage.pk]),
        reverse("mark", args=[passage.pk]),
        reverse("marking", args=[low.pk]),
        reverse("marking", args=[high.pk]),
    ]
    for url in urls:
        assert hers.get(url).status_code == 200, url
        assert mine.get(url).status_code == 404, url
    assert Draft.objects.get().teacher == colleague
    assert {m.teacher for m in Marking.objects.filter(passage=passage)} == {colleague}


def test_no_row_of_the_record_points_to_the_teacher_before(teacher, colleague, student, work):
    record = give(teacher, colleague, student)
    for table, rows in rows_of(Student.objects.get(pk=student.pk)).items():
        for row in rows:
            if table is Handover:
                continue
            for field in table._meta.concrete_fields:
                if field.related_model is Teacher:
                    assert getattr(row, field.attname) == colleague.pk, (table, field.name)
                if field.related_model is Passage and getattr(row, field.attname):
                    assert getattr(row, field.name).teacher == colleague
    assert Lesson in tables_with_both()
    assert (record[0].giver, record[0].taker, record[0].at) == (teacher, colleague, AT)


def test_the_record_stands_on_the_details(client_of, teacher, colleague, student):
    give(teacher, colleague, student)
    page = client_of(colleague).get(reverse("student_edit", args=[student.pk])).content.decode()
    assert "from Ada Fell to Clara Moor" in page
    assert "moves to the other end of town" in page


def test_a_passage_others_need_too_is_held_by_both(client_of, teacher, colleague, student, noor, work, passage, high):
    assign(noor, passage=passage, marking=high, begun=DAY)
    give(teacher, colleague, student)
    assert Passage.objects.get(pk=passage.pk).teacher == teacher
    assert PassageHolder.objects.get().teacher == colleague
    for each in (teacher, colleague):
        assert client_of(each).get(reverse("marking", args=[high.pk])).status_code == 200
    hers = client_of(colleague)
    assert hers.get(reverse("assignment", args=[work.pk])).status_code == 200
    assert "Noor" not in hers.get(reverse("passage", args=[passage.pk])).content.decode()
    assert "Noor" not in hers.get(reverse("who", args=[high.pk])).content.decode()
    # The last one goes too: now the passage is the colleague's.
    give(teacher, colleague, noor)
    assert Passage.objects.get(pk=passage.pk).teacher == colleague
    assert not PassageHolder.objects.exists()


def test_students_to_two_colleagues_at_once(teacher, colleague, student, noor, work, passage, high):
    third = Teacher.objects.create_user("bela@example.org", "x", name="Bela Rook", studio=teacher.studio)
    assign(noor, passage=passage, marking=high, begun=DAY)
    hand_over(teacher, {student.pk: colleague, noor.pk: third}, reason="leaves", at=AT)
    assert Passage.objects.get(pk=passage.pk).teacher == colleague
    assert [h.teacher for h in PassageHolder.objects.all()] == [third]


def test_guardians_go_along_or_are_copied(teacher, colleague, student, noor):
    ines = Guardian.objects.create(teacher=teacher, name="Ines Holt", phone="01632 960001")
    otto = Guardian.objects.create(teacher=teacher, name="Otto Holt")
    for each, guardian in ((student, ines), (noor, ines), (student, otto)):
        Guardianship.objects.create(student=each, guardian=guardian, relation="parent", receives_notes=False)
    give(teacher, colleague, student)
    hers = Guardian.objects.filter(students=student).order_by("name")
    assert [(g.name, g.phone, g.teacher) for g in hers] == [
        ("Ines Holt", "01632 960001", colleague),
        ("Otto Holt", "", colleague),
    ]
    assert Guardian.objects.get(students=noor) == ines
    assert Guardian.objects.get(pk=ines.pk).teacher == teacher
    assert Guardian.objects.filter(name="Otto Holt").count() == 1
    tie = Guardianship.objects.get(student=student, guardian__name="Ines Holt")
    assert (tie.relation, tie.receives_notes) == ("parent", False)


@pytest.mark.parametrize("what", ["no reason", "nobody", "a stranger", "not hers", "closed"])
def test_what_cannot_be_handed_over(what, teacher, colleague, stranger, student):
    takers, reason, giver = {student.pk: colleague}, "moves", teacher
    if what == "no reason":
        reason = "  "
    elif what == "nobody":
        takers = {}
    elif what == "a stranger":
        takers = {student.pk: stranger}
    elif what == "not hers":
        giver, takers = colleague, {student.pk: teacher}
    else:
        Teacher.objects.filter(pk=colleague.pk).update(is_active=False)
    with pytest.raises(HandoverError):
        hand_over(giver, takers, reason=reason, at=AT)
    assert Student.objects.get().teacher == teacher
    assert not Handover.objects.exists()


def test_the_queries_do_not_grow_with_the_students(teacher, colleague, passage, printed, low):
    def cost(count, first):
        students = [Student.objects.create(teacher=teacher, first_name=f"S{first + n}") for n in range(count)]
        stays = Student.objects.create(teacher=teacher, first_name=f"T{first}")
        for each in students:
            assign(each, passage=passage, marking=low, begun=DAY)
            shared = Guardian.objects.create(teacher=teacher, name=f"G{each.pk}")
            for child in (each, stays):
                Guardianship.objects.create(student=child, guardian=shared)
        assign(stays, passage=passage, marking=low, begun=DAY)
        with CaptureQueriesContext(
            connection,
        ) as found:
            give(teacher, colleague, *students)
        return len(found)

    assert cost(2, 0) == cost(9, 100)


def test_the_page(client, client_of, teacher, colleague, stranger, student, noor):
    url = reverse("hand_over")
    assert client.get(url)["Location"].startswith("/sign-in")
    assert client_of(teacher).put(url).status_code == 405
    assert "only teacher" in client_of(stranger).get(url).content.decode()
    assert "Mira" not in client_of(colleague).get(url).content.decode()
    mine = client_of(teacher)
    assert "Mira" in mine.get(url).content.decode()
    refused = mine.post(url, {f"student-{student.pk}": colleague.pk})
    assert refused.status_code == 422
    assert "Write a reason" in refused.content.decode()
    assert mine.post(url, {f"student-{student.pk}": stranger.pk, "reason": "x"}).status_code == 422
    # Nobody hands over a student of somebody else.
    client_of(colleague).post(url, {f"student-{student.pk}": teacher.pk, "reason": "x"})
    assert Student.objects.filter(teacher=teacher).count() == 2
    mine.post(url, {f"student-{student.pk}": colleague.pk, "reason": "moves"})
    assert set(Student.objects.values_list("first_name", "teacher__name")) == {
        ("Mira", "Clara Moor"),
        ("Noor", "Ada Fell"),
    }
    mine.post(url, {"all": colleague.pk, "reason": "leaves"})
    assert not Student.objects.filter(teacher=teacher).exists()


def test_leaving(client, client_of, teacher, colleague, student, passage):
    url, mine = reverse("leave"), client_of(teacher)
    assert client.post(url)["Location"].startswith("/sign-in")
    assert mine.get(url).status_code == 405
    mine.post(url, {"pieces": colleague.pk})
    assert Teacher.objects.get(pk=teacher.pk).is_active  # Mira is still hers
    give(teacher, colleague, student)
    mine.post(url, {"pieces": teacher.pk})
    assert Teacher.objects.get(pk=teacher.pk).is_active  # nobody to look after the pieces
    answer = mine.post(url, {"pieces": colleague.pk})
    assert answer["Location"] == "/sign-in"
    assert not Teacher.objects.get(pk=teacher.pk).is_active
    assert Piece.objects.get().teacher == colleague
    assert mine.get("/").status_code == 302
    assert InstrumentPeriod.objects.get().student.teacher == colleague
    assert not Sheet.objects.exists()
    hers = client_of(colleague)
    hers.post(url, {"pieces": teacher.pk})
    assert Teacher.objects.get(pk=colleague.pk).is_active


@pytest.fixture
def left(teacher, colleague, passage, printed, low, high, lesson, student):
    """Una, who looks after what Ada left: a passage no student works on, with a draft, and a set of steps.
    Mira went to Clara before, on whose passage Ada had made a marking."""
    una = Teacher.objects.create_user("una@example.org", "a long bow on an open G", name="Una", studio=teacher.studio)
    theirs = make_passage(colleague, title="Clara’s", piece="Weir")
    empty = {"format": 1, "marks": []}
    Marking.objects.create(passage=theirs, teacher=teacher, number=1, name="Ada’s idea", marks=empty)
    Draft.objects.create(teacher=teacher, passage=passage, parent=low, marks=empty)
    Draft.objects.create(teacher=teacher, passage=theirs, marks=empty)
    PassageHolder.objects.create(passage=passage, teacher=una, since=AT)
    PassageHolder.objects.create(passage=theirs, teacher=teacher, since=AT)
    for owner in (teacher, una):
        StepSet.objects.create(teacher=owner, name="Shifts", steps=[])
    Phrase.objects.create(teacher=teacher, text="freer bow")
    give(teacher, colleague, student)
    leave(teacher, una)
    return una


def test_what_a_teacher_made_goes_to_who_looks_after_it(left, client_of, teacher, colleague, passage, low, high):
    una = client_of(left)
    for url in (reverse("passage", args=[passage.pk]), reverse("marking", args=[high.pk])):
        assert una.get(url).status_code == 200
    assert {each.teacher for each in passage.markings.all()} == {left}
    assert Marking.objects.get(name="Ada’s idea").teacher == colleague
    assert list(Draft.objects.values_list("teacher", "passage")) == [(left.pk, passage.pk)]
    assert not PassageHolder.objects.exists()
    assert {kept.name for kept in StepSet.objects.filter(teacher=left)} == {"Shifts", "Shifts (Ada Fell)"}
    assert not Phrase.objects.exists()
    for table in (Piece, Passage, Marking, Draft, StepSet):
        assert not table.objects.filter(teacher=teacher).exists(), table


def test_music_nobody_uses_can_be_deleted_after_its_maker_left(left, client_of, passage):
    una = client_of(left)
    una.post(reverse("passage_delete", args=[passage.pk]))
    una.post(reverse("piece_delete", args=[passage.movement.revision.part.piece_id]))
    assert [piece.title for piece in Piece.objects.all()] == ["Weir"]


def test_the_database_lets_music_go_from_a_closed_account_to_a_colleague_only(
    teacher, colleague, stranger, passage, low
):
    def pass_on(taker):
        with transaction.atomic():
            Marking.objects.filter(pk=low.pk).update(teacher=taker)
            Passage.objects.filter(pk=passage.pk).update(teacher=taker)

    with pytest.raises(IntegrityError):
        pass_on(colleague)
    Teacher.objects.filter(pk=teacher.pk).update(is_active=False)
    with pytest.raises(IntegrityError):
        pass_on(stranger)
    with pytest.raises(IntegrityError), transaction.atomic():
        Marking.objects.filter(pk=low.pk).update(teacher=colleague, name="Another")
    pass_on(colleague)
    assert Passage.objects.get(pk=passage.pk).teacher == colleague
