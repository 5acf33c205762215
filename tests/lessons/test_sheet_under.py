"""The bow distribution on the practice sheet: on request, per item, kept with what was issued."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from django.urls import reverse

from lessons.models import Sheet
from lessons.sheet_content import Content, Tempo
from lessons.sheet_under import Wish, quarters
from lessons.sheets import content_of, draft_content, make_pages, sheet_pdf_bytes
from tests.lessons.test_sheets import lesson, pdf_alternatives, slur, work  # noqa: F401

AT = datetime(2026, 3, 10, 17, 30, tzinfo=UTC)
pytestmark = pytest.mark.django_db


def said(pdf: bytes) -> str:
    """The alternative texts of the pictures."""
    return " ".join(bytes.fromhex(each).decode("utf-16-be") for each in pdf_alternatives(pdf).split())


def made(student, lesson, work, **wish):  # noqa: F811
    return draft_content(student, lesson, at=AT, under={work.pk: Wish(**wish)})


def test_nothing_stands_under_the_staves_unless_asked(student, lesson, work):  # noqa: F811
    content = draft_content(student, lesson, at=AT)
    assert (content.items[0].under, content.items[0].bow_signs) == ("", "")
    assert "Bow, as marked" not in said(make_pages(content).pdf)


@pytest.mark.parametrize(("under", "words"), [("bow", "Bow, as marked"), ("planned bow", "Bow, planned")])
def test_the_distribution_is_printed_and_told_in_words(student, lesson, work, under, words):  # noqa: F811
    content = made(student, lesson, work, under=under)
    pages = make_pages(content)
    assert pages.count == 1
    assert words in said(pages.pdf)


def test_what_was_asked_is_stored_and_read_again(student, lesson, work):  # noqa: F811
    content = made(student, lesson, work, under="bow", signs="every")
    again = Content.from_json(content.as_json())
    assert (again.items[0].under, again.items[0].bow_signs) == ("bow", "every")
    # Sheets issued before could not say.
    old = content.as_json()
    del old["items"][0]["under"], old["items"][0]["bow_signs"]
    assert Content.from_json(old).items[0].under == ""


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_is_issued_from_the_preview_with_what_was_chosen(client_of, teacher, student, lesson, work, paper):  # noqa: F811
    teacher.studio.paper = paper
    teacher.studio.save()
    browser = client_of(teacher)
    chosen = {"chosen": "1", "item": work.pk, "notes": work.pk, f"under-{work.pk}": "bow", f"signs-{work.pk}": "every"}
    page = browser.get(reverse("sheet_preview", args=[student.pk]), chosen).content.decode()
    assert '<option value="bow" selected>' in page
    assert '<option value="every" selected>' in page
    frame = browser.get(reverse("sheet_preview_page", args=[student.pk]), chosen).content.decode()
    assert "Bow, as marked" in frame
    browser.post(reverse("sheet_issue", args=[student.pk]), chosen)
    sheet = Sheet.objects.get()
    assert content_of(sheet).items[0].under == "bow"
    assert "Bow, as marked" in said(sheet_pdf_bytes(sheet))


def test_an_unknown_wish_asks_for_nothing(client_of, teacher, student, lesson, work):  # noqa: F811
    chosen = {"chosen": "1", "item": work.pk, "notes": work.pk, f"under-{work.pk}": "everything"}
    client_of(teacher).post(reverse("sheet_issue", args=[student.pk]), chosen)
    assert content_of(Sheet.objects.get()).items[0].under == ""


def test_a_tempo_is_counted_in_quarters():
    # A dotted half is three quarters, an eighth half of one. [A]
    assert quarters(Tempo("dotted half", 40)) == 120
    assert quarters(Tempo("eighth", 0, 120)) == 60
    assert quarters(Tempo("quarter", 0, 0)) is None
    assert quarters(None) is None
