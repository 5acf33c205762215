"""A student's whole part on paper: title, marked staves at the student's height, page turns.

The notation is engraved as on a practice sheet, in exact millimetres; pages end where
`page_turns.py` says.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Any

from django.template.loader import render_to_string

from lessons.merged_part import MergedMovement, MergedPart
from lessons.page_turns import Block, Opens, Page, plan_pages, rest_after
from lessons.sheet_drawing import MARGIN_MM, PAPER_MM, DrawnSystem, Pages, column_mm, day_words, print_pages
from repertoire.excerpts import drawn
from repertoire.notation.look import AMERICAN_WORDS, BRITISH_WORDS, Look
from repertoire.notation.picture import Picture, as_data_uri

HEAD_MM = 12.0
FOOT_MM = 16.0
GAP_MM = 2.2  # between systems
SPREAD_MM = 5.0  # more of it on a page that isn't full
TURN_MM = 6.0  # the line that says “V.S.”
TITLE_MM = 26.0
MOVEMENT_MM = 11.0
BAR_LIMIT = 2500
BETWEEN_MOVEMENTS = Fraction(8)


class TooLong(Exception):
    """More bars than one part is printed with."""


@dataclass(frozen=True, slots=True)
class PrintedSystem:
    """A system, and the movement's title over its first one."""

    drawn: DrawnSystem
    heading: str
    last_bar: str


@dataclass(frozen=True, slots=True)
class Laid:
    """The systems on their pages."""

    systems: tuple[PrintedSystem, ...]
    pages: tuple[Page, ...]
    gaps_mm: tuple[float, ...]  # white between the systems of each page

    @property
    def turns(self) -> list[dict[str, Any]]:
        """The pages that are turned: number, last bar, quarter notes of rest, whether in a hurry."""
        return [
            {"page": n, "bar": self.systems[p.last - 1].last_bar, "rest": p.rest, "hurried": p.hurried}
            for n, p in enumerate(self.pages, 1)
            if p.turned
        ]


def lay_out(merged: MergedPart, opens: Opens = "left", *, fill: bool = False) -> Laid:
    """Engrave the merged part and give its systems to pages, full ones if `fill` is more than turns at
    rests. Raises TooLong."""
    student, studio = merged.student, merged.student.teacher.studio
    if sum(len(m.line.bars) for m in merged.movements) > BAR_LIMIT:
        raise TooLong(f"This part has more than {BAR_LIMIT} bars; it is too long to print in one piece.")
    words = AMERICAN_WORDS if studio.terms == "american" else BRITISH_WORDS
    systems: list[PrintedSystem] = []
    blocks: list[Block] = []
    for movement in merged.movements:
        look = Look(
            staff_mm=float(student.staff_height),
            width_mm=column_mm(studio.paper),
            printed=movement.printed,
            screen=False,
            string_signs="sul" if studio.string_signs == "sul" else "roman",
            words=words,
            instrument=merged.part.instrument,
        )
        picture = drawn(movement.line, movement.marks, look)
        heading = movement.line.title if len(merged.movements) > 1 else ""
        for system, block in _blocks(movement, picture, heading, words["bar"]):
            systems.append(system)
            blocks.append(block)
    room = PAPER_MM[studio.paper][1] - HEAD_MM - FOOT_MM
    pages = plan_pages(blocks, room, room - TITLE_MM, opens, turn_mm=TURN_MM, fill=fill)
    return Laid(tuple(systems), tuple(pages), _gaps(blocks, pages, room))


def _gaps(blocks: Sequence[Block], pages: Sequence[Page], room: float) -> tuple[float, ...]:
    """White between systems: a page's spare height is shared out, within reason; the last page
    is no wider than the one before."""
    out: list[float] = []
    for n, page in enumerate(pages):
        count = page.last - page.first
        used = sum(b.height_mm for b in blocks[page.first : page.last]) + (TITLE_MM if n == 0 else 0)
        spare = max(0.0, room - used - TURN_MM * page.hurried)
        most = min(SPREAD_MM, out[-1] - GAP_MM) if out and page.last == len(blocks) else SPREAD_MM
        most = 0.0 if len(pages) == 1 else most
        out.append(GAP_MM + min(most, spare / count))
    return tuple(out)


def _blocks(movement: MergedMovement, picture: Picture, heading: str, bar: str) -> list[tuple[PrintedSystem, Block]]:
    out = []
    numbers = {bar.index: bar.number for bar in movement.line.bars}
    for n, system in enumerate(picture.systems):
        first, last = (numbers[i] for i in (min(system.bars), max(system.bars)))
        final = n == len(picture.systems) - 1
        rest = rest_after(movement.line, max(system.bars))
        alt = f"{heading}, {bar}s {first} to {last}" if heading else f"{bar.capitalize()}s {first} to {last}"
        image = DrawnSystem(as_data_uri(system), system.width_mm, system.height_mm, alt)
        head = heading if n == 0 else ""
        height = system.height_mm + GAP_MM + (MOVEMENT_MM if head else 0)
        # Between two movements there is always time to turn.
        out.append((PrintedSystem(image, head, last), Block(height, BETWEEN_MOVEMENTS if final else rest)))
    return out


def part_html(merged: MergedPart, laid: Laid, on: date) -> str:
    """The part as one HTML document without outside references."""
    studio = merged.student.teacher.studio
    width, height = PAPER_MM[studio.paper]
    systems: Sequence[PrintedSystem] = laid.systems
    paper: Mapping[str, float] = {
        "width": width, "height": height, "margin": MARGIN_MM, "head": HEAD_MM, "foot": FOOT_MM, "title": TITLE_MM,
        "gap": GAP_MM, "movement": MOVEMENT_MM,
    }  # fmt: skip
    return render_to_string(
        "lessons/part_print.html",
        {
            "merged": merged,
            "piece": merged.part.piece,
            "part": merged.part,
            "student": merged.student,
            "studio": studio,
            "day": day_words(on.isoformat()),
            "paper": paper,
            "pages": [
                (page, systems[page.first : page.last], gap) for page, gap in zip(laid.pages, laid.gaps_mm, strict=True)
            ],
        },
    )


def part_pdf(merged: MergedPart, *, opens: Opens = "left", fill: bool = False, on: date) -> Pages:
    """The printed part as a tagged PDF. Raises TooLong."""
    return print_pages(part_html(merged, lay_out(merged, opens, fill=fill), on))
