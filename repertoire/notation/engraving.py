"""A line with its marks as a picture.

The plain notes come as MEI from memory, each mark is laid on by its kind (see `signs.py`),
Verovio draws one page for each system, and the drawing is taken apart, cleared of
collisions and put together in millimetres.
"""

from __future__ import annotations

from collections.abc import Sequence

from lxml import etree

from repertoire.technique.line import Line, parse_address
from repertoire.technique.marks import Mark, Marks

from .assembling import assemble
from .condensing import prepare
from .excerpt import plain_mei
from .ink import take_apart
from .laying import OWN, PRINTED, REPLACED, Sheet
from .look import Look
from .picture import Picture, System, as_data_uri, as_image
from .signs import SIGNS, Speaker
from .toolkit import toolkit

__all__ = ["Look", "Picture", "System", "as_data_uri", "as_image", "engrave"]

_FIXED = {
    "scale": 100, "unit": 9, "pageHeight": 60000, "adjustPageHeight": True, "breaks": "auto", "header": "none",
    "footer": "none", "svgViewBox": True, "xmlIdChecksum": True, "systemMaxPerPage": 1, "svgRemoveXlink": True,
    "pageMarginLeft": 30, "pageMarginRight": 5, "pageMarginTop": 40, "pageMarginBottom": 10, "outputIndent": 0,
}  # fmt: skip


def engrave(line: Line, marks: Marks, look: Look) -> Picture:
    """Draw a line with its marks. Marks outside the line are left out and named in `warnings`."""
    root = etree.fromstring(plain_mei(line))
    prepare(root, line, look, {a for m in marks for a in (m.at, m.to)})
    sheet = Sheet(root, line, look)
    warnings = lay(sheet, marks)
    return _draw([sheet], [(line, marks)], look, warnings)


def lay(sheet: Sheet, marks: Marks) -> tuple[str, ...]:
    """Put every mark on the sheet; returns what could not be drawn, in words."""
    look, line = sheet.look, sheet.line
    printed = set(look.printed)
    chosen = [(m, PRINTED if m in printed else OWN) for m in marks]
    if look.show_replaced:
        chosen += [(m, REPLACED) for m in look.printed if m not in set(marks)]
    sheet.marks = tuple(m for m, _ in chosen)
    warnings = []
    for mark, owner in sorted(chosen, key=lambda pair: (SIGNS[pair[0].kind].layer, pair[0])):
        if not _inside(line, mark):
            warnings.append(f"A {mark.kind} mark outside the passage is not drawn.")
            continue
        SIGNS[mark.kind].draw(sheet, mark, owner)
    return tuple(warnings)


def _inside(line: Line, mark: Mark) -> bool:
    """On a note of the line; a span may enter or leave as long as it touches the line."""
    if not mark.to:
        return mark.at in line
    if mark.at in line or mark.to in line:
        return True
    first, last = line.events[0].address, line.events[-1].address
    return parse_address(mark.at) < parse_address(first) and parse_address(mark.to) > parse_address(last)


def _draw(
    sheets: Sequence[Sheet], lines: Sequence[tuple[Line, Marks]], look: Look, warnings: tuple[str, ...]
) -> Picture:
    options = {**_FIXED, "pageWidth": round(72 * look.width_mm / look.staff_mm)}
    if not look.bar_numbers:
        options["mnumInterval"] = 1000
    with toolkit(options) as verovio:
        verovio.loadData(etree.tostring(sheets[0].root, encoding="unicode"))
        pages = [verovio.renderToSVG(n) for n in range(1, verovio.getPageCount() + 1)]
    labels = {key: text for sheet in sheets for key, text in sheet.labels.items()}
    at = {key: address for sheet in sheets for key, address in sheet.at.items()}
    speakers = [Speaker(line, marks) for line, marks in lines] if look.screen else []
    systems = tuple(
        assemble(take_apart(page), [line for line, _ in lines], look, n, labels=labels, at=at, speakers=speakers)
        for n, page in enumerate(pages)
    )
    return Picture(systems, warnings=warnings)
