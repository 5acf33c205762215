"""From a sheet's content to its pages: the excerpts engraved in millimetres, then the PDF.

WeasyPrint lays the pages out; the notation goes in as vector images at the student's stave
height and is never scaled to fit. Nothing is fetched: the only addresses the pages may
name are the drawings they carry.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from io import BytesIO
from typing import Any

from django.template.loader import render_to_string
from weasyprint import HTML
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import URLFetcher

from lessons import links
from lessons.beat_sign import beat_sign
from lessons.practice import RecipeError, stave_of, stave_picture
from lessons.sheet_content import DAY_NAMES, HEALTH_LINE, Content, Item, StepLine, Tempo, bars_label
from lessons.sheet_under import printed_picture
from lessons.step_pictures import StepPicture, paper_size
from lessons.tempo import unit_words
from repertoire.drafts import instrument_of
from repertoire.excerpts import printed_marks
from repertoire.markings import marks_of
from repertoire.models import Marking, Passage
from repertoire.notation.look import AMERICAN_WORDS, BRITISH_WORDS, Look
from repertoire.notation.picture import Picture, as_data_uri
from repertoire.technique.marks import Marks
from repertoire.technique.transposing import ClefWish
from studio.models import Student
from studio.terms import terms_for

PAPER_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
MARGIN_MM = 15.0
FOOT_MM = 24.0
HEAD_MM = 13.0
GAP_MM = 8.0  # between two short staves side by side
HALF_BARS_AT_MOST = 6
PART_WITH_STAVES = 0.5  # of a page: an item with step staves taller than this may go on overleaf
PART_IF_FULL = 0.25  # the same where a sheet would have too many pages otherwise
TEXT_PT, LARGEST_TEXT = 11.0, 1.2  # words grow with the staves of beginners, up to this
USUAL_STAFF_MM = 8.5
PX_PER_MM = 96 / 25.4
_LEAVES = frozenset(("LineBox", "BlockReplacedBox", "InlineReplacedBox"))
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
class DrawnStep:
    """A step with its number, the systems of its stave and its picture; `half` when all that fits half the column."""

    number: int
    step: StepLine
    systems: tuple[DrawnSystem, ...] = ()
    half: bool = False
    picture: DrawnSystem | None = None

    @property
    def height_mm(self) -> float:
        drawn = (*self.systems, *([self.picture] if self.picture else []))
        return sum(s.height_mm + 1.5 for s in drawn) + 6.5 + (5.5 if self.step.ladder else 0)


@dataclass(frozen=True, slots=True)
class DrawnItem:
    """An item with what the template shows: words ready to print, its systems, and its steps
    in rows of one, or of two where both have a short stave."""

    item: Item
    place: int
    bars: str
    systems: tuple[DrawnSystem, ...]
    rows: tuple[tuple[DrawnStep, ...], ...] = ()

    @property
    def has_staves(self) -> bool:
        return any(step.systems or step.picture for row in self.rows for step in row)

    @property
    def height_mm(self) -> float:
        """About how tall the item is on paper, for keeping it on one page where it fits."""
        steps = sum(max(step.height_mm for step in row) for row in self.rows)
        return sum(s.height_mm + 2 for s in self.systems) + 26 + steps


def room_mm(paper: str) -> float:
    """Height of the print column in mm."""
    return PAPER_MM[paper][1] - HEAD_MM - FOOT_MM


def column_mm(paper: str) -> float:
    """Width of the print column in mm."""
    return PAPER_MM[paper][0] - 2 * MARGIN_MM


def clef_wish(preference: str) -> ClefWish:
    """A student's clef preference as the engraver takes it."""
    return "treble" if preference == "treble" else "alto" if preference == "alto" else ""


def draw_item(content: Content, item: Item, place: int) -> DrawnItem:
    """Engrave one item for print at the content's stave height."""
    systems: tuple[DrawnSystem, ...] = ()
    steps = tuple(_with_picture(DrawnStep(number, step), content) for number, step in enumerate(item.steps, 1))
    if item.with_excerpt and item.passage:
        passage = Passage.objects.select_related("movement__revision__part").get(pk=item.passage)
        printed = printed_marks(passage)
        marks = marks_of(Marking.objects.get(pk=item.marking)) if item.marking else printed
        look = Look(
            staff_mm=content.staff_mm,
            width_mm=column_mm(content.paper),
            printed=printed,
            screen=False,
            string_signs="sul" if content.string_signs == "sul" else "roman",
            words=AMERICAN_WORDS if content.terms == "american" else BRITISH_WORDS,
            instrument=instrument_of(passage),
            clef=clef_wish(content.clef),
            pale_printed=_told_apart(passage, printed, marks),
        )
        drawn, under = printed_picture(passage, marks, look, item, content)
        words = f"{item.title}, {bars_label(item.bars, content.terms)}"
        systems = _systems(drawn, f"{words}. {drawn.label}" if passage.has_picture else words, under)
        student = Student.objects.filter(assignments=item.assignment).first()
        steps = tuple(_draw_step(step, passage, student, look) for step in steps)
    return DrawnItem(item, place, bars_label(item.bars, content.terms), systems, _rows(steps))


def _told_apart(passage: Passage, printed: Marks, marks: Marks) -> bool:
    """Whether printed marks step back behind the teacher's own: not where there are none of her own, nor in
    music she typed in herself."""
    own = any(mark not in set(printed) for mark in marks)
    return own and not (passage.has_notation and passage.movement.revision.typed)


def _systems(drawn: Picture, words: str, under: tuple[str, ...] = ()) -> tuple[DrawnSystem, ...]:
    count = len(drawn.systems)
    told = [f". {said}" if said else "" for said in under] or [""] * count
    return tuple(
        DrawnSystem(
            as_data_uri(system),
            system.width_mm,
            system.height_mm,
            (f"{words}, stave {n} of {count}" if count > 1 else words) + told[n - 1],
        )
        for n, system in enumerate(drawn.systems, 1)
    )


def _with_picture(drawn: DrawnStep, content: Content) -> DrawnStep:
    """A step with the picture of its instruction, if it has one and its file is there."""
    kept = StepPicture.objects.filter(pk=drawn.step.picture).first() if drawn.step.picture else None
    if kept is None or not kept.uri:
        return drawn
    width, height = paper_size(kept, column_mm(content.paper), content.staff_mm)
    half = width <= (column_mm(content.paper) - GAP_MM) / 2
    return replace(drawn, picture=DrawnSystem(kept.uri, width, height, kept.words), half=half)


def _draw_step(drawn: DrawnStep, passage: Passage, student: Student | None, look: Look) -> DrawnStep:
    """A step with its stave: in half the column when it fits there in one system.

    The stave height is the student's either way. A stave that can't be made any more leaves
    the words alone.
    """
    if not drawn.step.recipe:
        return drawn
    try:
        stave = stave_of(drawn.step.recipe, passage, student)
    except RecipeError:
        return drawn
    words = f"{drawn.step.text}: practice stave"
    half = replace(look, width_mm=(look.width_mm - GAP_MM) / 2)
    beside = drawn.half or drawn.picture is None
    if beside and len(stave.line.bars) <= HALF_BARS_AT_MOST:
        picture_ = stave_picture(stave, half)
        if len(picture_.systems) == 1 and picture_.systems[0].width_mm <= half.width_mm + 0.5:
            return replace(drawn, systems=_systems(picture_, words), half=True)
    return replace(drawn, systems=_systems(stave_picture(stave, look), words), half=False)


def _rows(steps: tuple[DrawnStep, ...]) -> tuple[tuple[DrawnStep, ...], ...]:
    """Steps in order; two that follow each other share a row when both staves are short."""
    rows: list[tuple[DrawnStep, ...]] = []
    for step in steps:
        if rows and step.half and len(rows[-1]) == 1 and rows[-1][0].half:
            rows[-1] = (rows[-1][0], step)
        else:
            rows.append((step,))
    return tuple(rows)


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


def step_days(step: StepLine) -> str:
    """`Mon, Wed, Fri` for a step that is not for every day."""
    return ", ".join(DAY_NAMES[int(day)] for day in step.days) if step.days else ""


def day_words(iso: str) -> str:
    """`Wednesday 25 November 2026`, whatever the machine's language."""
    day = date.fromisoformat(iso)
    return f"{_WEEKDAYS[day.weekday()]} {day.day} {_MONTHS[day.month - 1]} {day.year}"


def text_pt(staff_mm: float) -> float:
    """The size of the words beside staves of a height: read from as far away as the notes."""
    return round(TEXT_PT * min(LARGEST_TEXT, max(1.0, staff_mm / USUAL_STAFF_MM)), 2)


def sheet_html(
    content: Content, *, draft: bool = False, home: str = "", close: bool = False, full: bool = False
) -> str:
    """The sheet as one HTML document without outside references.

    `draft` says so in its head; `home` is the address of the student's page, printed there with its QR
    code. `close` leaves less white between things, and `full` lets more items go on overleaf.
    """
    items = [draw_item(content, item, place) for place, item in enumerate(content.items, 1)]
    width, height = PAPER_MM[content.paper]
    room = room_mm(content.paper)
    part = PART_IF_FULL if full else PART_WITH_STAVES
    return render_to_string(
        "lessons/sheet_print.html",
        {
            "content": content,
            "draft": draft,
            "close": close,
            "full": full,
            "text_pt": TEXT_PT if close else text_pt(content.staff_mm),
            "home": _home(home),
            "lesson_day": day_words(content.lesson_date),
            "health_line": HEALTH_LINE,
            "terms": terms_for(content.terms),
            "paper": {"width": width, "height": height, "margin": MARGIN_MM, "foot": FOOT_MM, "head": HEAD_MM},
            "items": [
                {
                    "drawn": drawn,
                    "whole": drawn.height_mm < room * (part if drawn.has_staves else 1),
                    "tempo": tempo_words(drawn.item.tempo, content.terms),
                    "rows": [
                        [(step, tempo_words(step.step.tempo, content.terms), step_days(step.step)) for step in row]
                        for row in drawn.rows
                    ],
                }
                for drawn in items
            ],
        },
    )


def _home(address: str) -> dict[str, Any] | None:
    """The address of the student's page, its QR code, and the parts it is broken into on paper."""
    if not address:
        return None
    site, _, token = address.partition("/home/")
    groups = token.strip("/").split("-")
    parts = [f"{site}/home/", f"{'-'.join(groups[:2])}-", f"{'-'.join(groups[2:])}/"]
    return {"address": address, "qr": links.qr_code(address), "parts": parts}


@lru_cache(maxsize=1)
def _fonts() -> FontConfiguration:
    return FontConfiguration()


@dataclass(frozen=True, slots=True)
class Pages:
    """A PDF; `used_mm` is how much of its pages' heights is filled, all pages together."""

    pdf: bytes
    count: int
    used_mm: float = 0.0


def print_pages(html: str) -> Pages:
    """Lay an HTML sheet out and write it as a tagged PDF with embedded fonts."""
    document = HTML(string=html, url_fetcher=URLFetcher(allowed_protocols=["data"], allow_redirects=False)).render(
        font_config=_fonts()
    )
    out = BytesIO()
    document.write_pdf(out, pdf_tags=True)
    return Pages(out.getvalue(), len(document.pages), sum(_filled(page) for page in document.pages))


def _filled(page: Any) -> float:
    """The height in mm from the top of a page's content to its last line or picture; 0 where that can't be told."""
    box = getattr(page, "_page_box", None)  # WeasyPrint has no public way to a page's boxes
    if box is None:
        return 0.0
    content = box.children[0]
    ends = [box.position_y + box.height for box in content.descendants() if type(box).__name__ in _LEAVES]
    return (max(ends, default=content.position_y) - content.position_y) / PX_PER_MM
