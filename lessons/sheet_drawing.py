"""From a sheet's content to its pages: the excerpts engraved in millimetres, then the PDF.

WeasyPrint lays the pages out; the notation goes in as vector images at the student's stave
height and is never scaled to fit. Nothing is fetched: the only addresses the pages may
name are the drawings they carry.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from io import BytesIO
from typing import Any

from django.template.loader import render_to_string
from weasyprint import HTML
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import URLFetcher

from lessons.beat_sign import beat_sign
from lessons.sheet_content import HEALTH_LINE, Content, Item, Tempo, bars_label
from lessons.tempo import unit_words
from repertoire.excerpts import passage_line, picture, printed_marks
from repertoire.markings import marks_of
from repertoire.models import Marking, Passage
from repertoire.notation.look import AMERICAN_WORDS, BRITISH_WORDS, Look
from repertoire.notation.picture import as_data_uri
from studio.terms import terms_for

PAPER_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
MARGIN_MM = 15.0
FOOT_MM = 24.0
HEAD_MM = 13.0
_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July"),
    *("August", "September", "October", "November", "December"),
)


@dataclass(frozen=True, slots=True)
class DrawnSystem:
    uri: str
    width_mm: float
    height_mm: float
    alt: str


@dataclass(frozen=True, slots=True)
class DrawnItem:
    """An item with what the template shows: words ready to print and its systems."""

    item: Item
    place: int
    bars: str
    systems: tuple[DrawnSystem, ...]

    @property
    def height_mm(self) -> float:
        """About how tall the item is on paper, for keeping it on one page where it fits."""
        return sum(s.height_mm + 2 for s in self.systems) + 26 + 6.5 * len(self.item.steps)


def column_mm(paper: str) -> float:
    """Width of the print column in mm."""
    return PAPER_MM[paper][0] - 2 * MARGIN_MM


def draw_item(content: Content, item: Item, place: int) -> DrawnItem:
    """Engrave one item for print at the content's stave height."""
    systems: tuple[DrawnSystem, ...] = ()
    if item.with_excerpt and item.passage:
        passage = Passage.objects.select_related("movement__revision").get(pk=item.passage)
        printed = printed_marks(passage)
        marks = marks_of(Marking.objects.get(pk=item.marking)) if item.marking else printed
        look = Look(
            staff_mm=content.staff_mm,
            width_mm=column_mm(content.paper),
            printed=printed,
            screen=False,
            string_signs="sul" if content.string_signs == "sul" else "roman",
            words=AMERICAN_WORDS if content.terms == "american" else BRITISH_WORDS,
            instrument=passage_line(passage).instrument,
        )
        drawn = picture(passage, marks, look)
        words = f"{item.title}, {bars_label(item.bars, content.terms)}"
        count = len(drawn.systems)
        systems = tuple(
            DrawnSystem(
                as_data_uri(system),
                system.width_mm,
                system.height_mm,
                f"{words}, stave {n} of {count}" if count > 1 else words,
            )
            for n, system in enumerate(drawn.systems, 1)
        )
    return DrawnItem(item, place, bars_label(item.bars, content.terms), systems)


def tempo_words(tempo: Tempo | None, terms: str) -> dict[str, Any] | None:
    """A tempo as the template prints it: sign, its words, and the numbers."""
    if tempo is None:
        return None
    return {
        "sign": beat_sign(tempo.unit),
        "unit": unit_words(tempo.unit, terms_for(terms)),
        "now": tempo.now,
        "goal": tempo.goal if tempo.goal != tempo.now else 0,
    }


def day_words(iso: str) -> str:
    """`Wednesday 25 November 2026`, whatever the machine's language."""
    day = date.fromisoformat(iso)
    return f"{_WEEKDAYS[day.weekday()]} {day.day} {_MONTHS[day.month - 1]} {day.year}"


def sheet_html(content: Content, *, draft: bool = False) -> str:
    """The sheet as one HTML document without outside references. `draft` says so in its head."""
    items = [draw_item(content, item, place) for place, item in enumerate(content.items, 1)]
    width, height = PAPER_MM[content.paper]
    room = height - HEAD_MM - FOOT_MM
    return render_to_string(
        "lessons/sheet_print.html",
        {
            "content": content,
            "draft": draft,
            "lesson_day": day_words(content.lesson_date),
            "health_line": HEALTH_LINE,
            "terms": terms_for(content.terms),
            "paper": {"width": width, "height": height, "margin": MARGIN_MM, "foot": FOOT_MM, "head": HEAD_MM},
            "items": [
                {
                    "drawn": drawn,
                    "whole": drawn.height_mm < room,
                    "tempo": tempo_words(drawn.item.tempo, content.terms),
                    "steps": [(step, tempo_words(step.tempo, content.terms)) for step in drawn.item.steps],
                }
                for drawn in items
            ],
        },
    )


@lru_cache(maxsize=1)
def _fonts() -> FontConfiguration:
    return FontConfiguration()


@dataclass(frozen=True, slots=True)
class Pages:
    pdf: bytes
    count: int


def print_pages(html: str) -> Pages:
    """Lay an HTML sheet out and write it as a tagged PDF with embedded fonts."""
    document = HTML(string=html, url_fetcher=URLFetcher(allowed_protocols=["data"], allow_redirects=False)).render(
        font_config=_fonts()
    )
    out = BytesIO()
    document.write_pdf(out, pdf_tags=True)
    return Pages(out.getvalue(), len(document.pages))
