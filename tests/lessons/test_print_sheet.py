from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from django.core.management import CommandError, call_command

from lessons.assigning import assign
from lessons.models import Lesson, Sheet
from lessons.sheets import sheet_pdf_bytes
from repertoire.models import Piece
from studio.models import Student


@pytest.fixture
def work(teacher, student):
    Lesson.objects.create(teacher=teacher, student=student, number=1, starts=datetime(2026, 3, 10, 16, 30, tzinfo=UTC))
    piece = Piece.objects.create(teacher=teacher, title="Scales in thirds")
    return assign(student, begun=date(2026, 3, 10), piece=piece, bars="1–8")


def test_new_issues_and_writes(work, student, tmp_path):
    out = tmp_path / "sheet.pdf"
    call_command("print_sheet", "mira", "--out", str(out), "--new")
    assert out.read_bytes() == sheet_pdf_bytes(Sheet.objects.get())


def test_without_new_the_latest_is_written_again(work, student, tmp_path):
    out = tmp_path / "sheet.pdf"
    call_command("print_sheet", str(student.pk), "--out", str(out), "--new")
    first = out.read_bytes()
    call_command("print_sheet", str(student.pk), "--out", str(out))
    assert out.read_bytes() == first
    assert Sheet.objects.count() == 1


def test_an_ambiguous_name_lists_the_ids(work, teacher, student, tmp_path):
    other = Student.objects.create(teacher=teacher, first_name="Mira")
    with pytest.raises(CommandError, match=f"use one of the ids {student.pk}, {other.pk}"):
        call_command("print_sheet", "Mira", "--out", str(tmp_path / "s.pdf"))


@pytest.mark.parametrize(
    "words, told",
    [("Nobody", "no student called Nobody"), ("999", "no student with the id 999"), ("Mira", "--new issues one")],
)
def test_what_is_not_there_is_said(work, tmp_path, words, told):
    with pytest.raises(CommandError, match=told):
        call_command("print_sheet", words, "--out", str(tmp_path / "s.pdf"))
    assert not (tmp_path / "s.pdf").exists()


def test_a_folder_that_is_not_there_is_said(work, tmp_path):
    with pytest.raises(CommandError, match="can’t be written"):
        call_command("print_sheet", "Mira", "--out", str(tmp_path / "nowhere/s.pdf"), "--new")
