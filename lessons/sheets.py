"""Issuing practice sheets and giving them back as they were.

An issued sheet is a file of PDF bytes with a number and a SHA-256. It is written once,
under a name that can't be guessed, and a reprint returns those bytes after checking them.
"""

from __future__ import annotations

import hashlib
import os
import secrets
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.db import transaction
from django.db.models import Max, Q
from django.utils.dateparse import parse_date

from lessons import links
from lessons.home_pages import page_of
from lessons.models import Assignment, Lesson, Sheet
from lessons.sheet_content import PAGES_AT_MOST, Content, SheetError, gather
from lessons.sheet_drawing import Pages, print_pages, room_mm, sheet_html
from lessons.sheet_under import Wish, with_wishes
from repertoire.models import Marking
from studio.models import Student

CLOSER = 0.85  # of its height is what a sheet can come down to when it is set closer
NOTHING_UNDER: Mapping[int, Wish] = {}


class DamagedSheet(Exception):
    """The stored bytes are gone or not the ones that were issued."""


def next_number(student: Student) -> int:
    return (Sheet.objects.filter(student=student).aggregate(last=Max("number"))["last"] or 0) + 1


def sheet_lesson(student: Student, at: datetime) -> Lesson | None:
    """The lesson a sheet made now belongs to: the last one begun or finished, or the first planned one."""
    past = student.lessons.filter(Q(starts__lte=at) | Q(finished__lte=at)).order_by("-starts").first()
    return past or student.lessons.order_by("starts").first()


def draft_content(
    student: Student,
    lesson: Lesson | None,
    *,
    at: datetime,
    assignments: list[Assignment] | None = None,
    without_excerpt: frozenset[int] = frozenset(),
    under: Mapping[int, Wish] = NOTHING_UNDER,
) -> Content:
    """The content the next sheet would have, with what is asked for `under` its items. Raises SheetError."""
    content = gather(
        student, lesson, number=next_number(student), at=at, assignments=assignments, without_excerpt=without_excerpt
    )
    return with_wishes(content, under)


def make_pages(content: Content, *, draft: bool = False, home: str = "") -> Pages:
    """The PDF of a content, with the address of the student's page if there is one.

    Raises SheetError when it takes more pages than a sheet has.
    """
    pages = print_pages(sheet_html(content, draft=draft, home=home))
    room = room_mm(content.paper)
    if pages.count > 1 and CLOSER * pages.used_mm < (pages.count - 1) * room:  # less white may save a page
        closer = print_pages(sheet_html(content, draft=draft, home=home, close=True))
        pages = closer if closer.count < pages.count else pages
    if pages.count > PAGES_AT_MOST:
        pages = print_pages(sheet_html(content, draft=draft, home=home, close=True, full=True))
    if pages.count > PAGES_AT_MOST:
        raise SheetError(
            f"This sheet takes {pages.count} pages and a sheet has at most {PAGES_AT_MOST}: "
            "leave an item out, or list one without its notation."
        )
    return pages


def issue_sheet(
    student: Student,
    lesson: Lesson | None,
    *,
    at: datetime,
    assignments: list[Assignment] | None = None,
    without_excerpt: frozenset[int] = frozenset(),
    under: Mapping[int, Wish] = NOTHING_UNDER,
    home: str = "",
) -> Sheet:
    """Print the week's sheet and store it. Raises SheetError; nothing is stored then.

    A student with an open link gets the page at home of this sheet, and, where `home` says how
    the studio's addresses begin, a link of its own printed on it.
    """
    at_home = links.has_link(student.pk, at=at)
    token = links.draw_token() if at_home and home else ""
    address = links.address(home, token) if token else ""
    # Drawn before anything is locked: a lesson's notes don't wait for a page to be set.
    content = draft_content(
        student, lesson, at=at, assignments=assignments, without_excerpt=without_excerpt, under=under
    )
    pages = make_pages(content, home=address)
    with transaction.atomic():
        Student.objects.select_for_update().get(pk=student.pk)
        if content.number != next_number(student):
            raise SheetError(
                "Another sheet was issued for this student at the same moment: look at it, then try again."
            )
        name = f"{at:%Y}-{secrets.token_hex(12)}.pdf"
        path = _path(name)
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        try:
            with os.fdopen(handle, "wb") as out:
                out.write(pages.pdf)
            sheet = Sheet.objects.create(
                student=student,
                lesson=lesson,
                number=content.number,
                issued=at,
                paper=content.paper,
                file_name=name,
                sha256=hashlib.sha256(pages.pdf).hexdigest(),
                pages=pages.count,
                content=content.as_json(),
            )
            sheet.markings.set(_markings(content))
            if token:
                links.make_link(student.pk, at=at, sheet_id=sheet.pk, token=token)
            if at_home:
                page_of(sheet, at=at)
        except BaseException:
            path.unlink(missing_ok=True)
            raise
    return sheet


def _markings(content: Content) -> set[int]:
    """The markings a sheet shows: those of its excerpts and those its practice staves are made from."""
    shown = {item.marking for item in content.items if item.marking}
    recipes = {step.recipe["marking"] for item in content.items for step in item.steps if step.recipe}
    return shown | set(Marking.objects.filter(pk__in=recipes).values_list("pk", flat=True))


def sheet_pdf_bytes(sheet: Sheet) -> bytes:
    """The bytes that were issued. Raises DamagedSheet when the file is gone or altered."""
    try:
        pdf = _path(sheet.file_name).read_bytes()
    except OSError:
        raise DamagedSheet(
            f"The file of sheet {sheet.number} for {sheet.student} is missing from the data folder: "
            "restore it from a backup."
        ) from None
    if hashlib.sha256(pdf).hexdigest() != sheet.sha256:
        raise DamagedSheet(
            f"The file of sheet {sheet.number} for {sheet.student} is not the one that was issued: "
            "restore it from a backup."
        )
    return pdf


def content_of(sheet: Sheet) -> Content:
    return Content.from_json(sheet.content)


def download_name(sheet: Sheet) -> str:
    """`Bram sheet 7 2026-11-25.pdf`: first name only."""
    day = parse_date(sheet.content["lesson_date"])
    return f"{sheet.student.first_name} sheet {sheet.number} {day}.pdf"


def _path(name: str) -> Path:
    return Path(settings.SHEETS_ROOT) / name
