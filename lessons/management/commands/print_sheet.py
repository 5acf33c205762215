"""Write a student's practice sheet to a file: the latest issued one, or a new one."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from lessons.sheet_content import SheetError
from lessons.sheets import DamagedSheet, issue_sheet, sheet_lesson, sheet_pdf_bytes
from studio.models import Student


class Command(BaseCommand):
    help = "Write the latest issued practice sheet of a student as a PDF; --new issues one first."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("student", help="the student’s id or first name")
        parser.add_argument(
            "--out", required=True, metavar="FILE", help="where to write the PDF; - for standard output"
        )
        parser.add_argument("--new", action="store_true", help="issue a new sheet instead of the latest one")

    def handle(self, *args: Any, **options: Any) -> None:
        student = _find(options["student"])
        now = timezone.now()
        try:
            if options["new"]:
                sheet = issue_sheet(student, sheet_lesson(student, now), at=now)
            else:
                latest = student.sheets.order_by("-number").first()
                if latest is None:
                    raise CommandError(f"No sheet has been issued for {student.first_name} yet: --new issues one.")
                sheet = latest
            pdf = sheet_pdf_bytes(sheet)
        except (SheetError, DamagedSheet) as error:
            raise CommandError(str(error)) from None
        if options["out"] == "-":
            sys.stdout.buffer.write(pdf)
            return
        try:
            Path(options["out"]).write_bytes(pdf)
        except OSError as error:
            raise CommandError(f"{options['out']} can’t be written: {error.strerror}.") from None
        pages = f"{sheet.pages} page{'s' if sheet.pages > 1 else ''}"
        self.stderr.write(f"Sheet {sheet.number} for {student.first_name}, {pages}, SHA-256 {sheet.sha256}")


def _find(words: str) -> Student:
    """A student by id or first name. Raises CommandError, listing the ids of an ambiguous name."""
    if words.isdecimal():
        found = Student.objects.filter(pk=int(words)).first()
        if found is None:
            raise CommandError(f"There is no student with the id {words}.")
        return found
    matching = list(Student.objects.filter(first_name__iexact=words).order_by("pk"))
    if not matching:
        raise CommandError(f"There is no student called {words}.")
    if len(matching) > 1:
        ids = ", ".join(str(student.pk) for student in matching)
        raise CommandError(f"{len(matching)} students are called {words}: use one of the ids {ids}.")
    return matching[0]
