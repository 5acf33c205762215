"""A student's record, handed out whole and erased whole."""

from __future__ import annotations

import json
import sqlite3
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from django.db import connection
from django.urls import reverse

from lessons.models import Assignment, Lesson, Observation, Sheet, Step
from repertoire.models import Piece
from studio import personal_record
from studio.models import Erasure, Guardian, Guardianship, Student
from studio.personal_record import erase, rows_of


@pytest.fixture
def record(student, teacher):
    """Mira with a mother of her own, a father shared with Jonas, a lesson, an assignment, a step, an observation."""
    jonas = Student.objects.create(teacher=teacher, first_name="Jonas")
    ines = Guardian.objects.create(teacher=teacher, name="Ines Holt", phone="01632 960001")
    paul = Guardian.objects.create(teacher=teacher, name="Paul Holt")
    for who, guardian in [(student, ines), (student, paul), (jonas, paul)]:
        Guardianship.objects.create(student=who, guardian=guardian)
    starts = datetime(2026, 3, 2, 16, tzinfo=UTC)
    piece = Piece.objects.create(teacher=teacher, title="Evening Study")
    lesson = Lesson.objects.create(teacher=teacher, student=student, number=1, starts=starts, private_note="tired")
    work = Assignment.objects.create(student=student, piece=piece, bars="1-8", begun=date(2026, 3, 2))
    step = Step.objects.create(assignment=work, text="slowly")
    Observation.objects.create(lesson=lesson, assignment=work, step=step, text="freer bow", at=starts)
    Lesson.objects.create(teacher=teacher, student=jonas, number=1, starts=starts)
    return student


def test_it_holds_everything_that_hangs_on_the_student_and_nothing_of_another(record):
    counts = {table.__name__: len(rows) for table, rows in rows_of(record).items()}
    assert counts == {
        "Student": 1,
        "InstrumentPeriod": 1,
        "Guardianship": 2,
        "Lesson": 1,
        "Assignment": 1,
        "Step": 1,
        "Observation": 1,
    }


def test_the_download_is_readable_json_with_private_notes(client_of, teacher, record):
    answer = client_of(teacher).get(reverse("student_export", args=[record.pk]))
    assert answer["Content-Disposition"] == f'attachment; filename="record-mira-{record.pk}.json"'
    content = json.loads(answer.content)
    assert content["record of"] == "Mira"
    assert content["lessons"][0]["private_note"] == "tired"
    assert content["assignments"][0]["piece"]["name"] == "Evening Study"
    assert content["observations"][0]["text"] == "freer bow"
    assert [guardian["name"] for guardian in content["guardians"]] == ["Ines Holt", "Paul Holt"]
    assert "Jonas" not in answer.content.decode()


def test_erasing_needs_the_name_typed(client_of, teacher, record):
    page = reverse("student_erase", args=[record.pk])
    answer = client_of(teacher).post(page, {"first_name": "Myra"})
    assert answer.status_code == 422
    assert Student.objects.filter(pk=record.pk).exists()


@pytest.mark.django_db(transaction=True)
def test_erased_is_erased_and_leaves_a_mark_without_a_name(client_of, teacher, record):
    answer = client_of(teacher).post(reverse("student_erase", args=[record.pk]), {"first_name": "Mira"})
    assert answer["Location"] == "/students/"
    assert [student.first_name for student in Student.objects.all()] == ["Jonas"]
    assert [guardian.name for guardian in Guardian.objects.all()] == ["Paul Holt"]
    assert Lesson.objects.count() == 1, "Jonas's"
    assert not Assignment.objects.exists()
    assert not Observation.objects.exists()
    assert Piece.objects.count() == 1, "the repertoire is the teacher's"
    mark = Erasure.objects.get()
    assert (mark.teacher, mark.rows) == (teacher, 9)
    with connection.cursor() as cursor:
        cursor.execute("SELECT * FROM studio_erasure")
        assert "Mira" not in str(cursor.fetchall())


@pytest.mark.django_db(transaction=True)
def test_nothing_of_it_is_left_in_the_database_file(record):
    if connection.vendor != "sqlite":
        pytest.skip("PostgreSQL keeps its own files")
    student = Student.objects.get(pk=record.pk)
    student.private_notes = "afraid of thunderstorms"
    student.save()

    def bytes_kept():
        name = Path(connection.settings_dict["NAME"])
        return b"".join(path.read_bytes() for path in name.parent.glob(f"{name.name}*"))

    assert b"afraid of thunderstorms" in bytes_kept()
    erase(student)
    assert b"afraid of thunderstorms" not in bytes_kept()


@pytest.mark.django_db(transaction=True)
def test_a_log_that_is_in_use_is_tried_again_and_told(client_of, teacher, record, monkeypatch, caplog):
    """Somebody reads on while the record is erased."""
    if connection.vendor != "sqlite":
        pytest.skip("PostgreSQL keeps its own files")
    monkeypatch.setattr(personal_record, "_WAIT", 10)
    Student.objects.filter(pk=record.pk).update(private_notes="afraid of thunderstorms")
    reader = sqlite3.connect(connection.settings_dict["NAME"], uri=True, isolation_level=None)
    reader.execute("BEGIN")
    reader.execute("SELECT count(*) FROM studio_student").fetchone()
    try:
        answer = client_of(teacher).post(
            reverse("student_erase", args=[record.pk]), {"first_name": "Mira"}, follow=True
        )
    finally:
        reader.close()
    assert "log was in use" in answer.content.decode()
    assert "may still be in the database" in caplog.text
    assert personal_record._empty_log()
    with connection.cursor() as cursor:
        assert cursor.execute("PRAGMA busy_timeout").fetchone() == (20_000,)


@pytest.mark.django_db(transaction=True)
def test_the_stored_sheets_go_too_and_other_students_stay(record, settings, teacher):
    jonas = Student.objects.get(first_name="Jonas")
    settings.SHEETS_ROOT.mkdir()
    for who, name in [(record, "mira.pdf"), (jonas, "jonas.pdf")]:
        (settings.SHEETS_ROOT / name).write_bytes(b"%PDF")
        Sheet.objects.create(
            student=who,
            number=1,
            issued=datetime(2026, 3, 2, tzinfo=UTC),
            paper="A4",
            file_name=name,
            sha256="0" * 64,
            pages=1,
            content={},
        )
    erase(record)
    assert [path.name for path in settings.SHEETS_ROOT.iterdir()] == ["jonas.pdf"]
    assert [sheet.student for sheet in Sheet.objects.all()] == [jonas]
