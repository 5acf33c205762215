"""A line with its marks as a picture.

The plain notes come as MEI from memory, each mark is laid on by its kind (see `signs.py`),
Verovio draws one page for each system, and the drawing is taken apart, cleared of
collisions and put together in millimetres.
"""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import replace

from lxml import etree

from repertoire.technique.line import Line, LineError, event_address, parse_address
from repertoire.technique.marks import Kind, Mark, Marks, changes

from .assembling import assemble
from .breaking import Breaks, even_breaks, is_crowded, part_crowded, write_breaks
from .condensing import prepare
from .excerpt import MEI, plain_mei
from .ink import take_apart
from .joining_staves import join, rename
from .laying import OWN, PRINTED, REPLACED, Sheet
from .look import Look
from .picture import Picture, System, as_data_uri, as_image
from .signs import SIGNS, Speaker
from .toolkit import toolkit

__all__ = ["Look", "Picture", "System", "as_data_uri", "as_image", "engrave", "engrave_together"]

_FIXED = {
    "scale": 100, "unit": 9, "pageHeight": 60000, "adjustPageHeight": True, "breaks": "auto", "header": "none",
    "footer": "none", "svgViewBox": True, "xmlIdChecksum": True, "systemMaxPerPage": 1, "svgRemoveXlink": True,
    "minLastJustification": 0.55, "spacingLinear": 0.26, "leftMarginNote": 1.7, "leftMarginClef": 2.0,
    "rightMarginClef": 2.0, "hairpinThickness": 0.24,
    "pageMarginLeft": 30, "pageMarginRight": 5, "pageMarginTop": 40, "pageMarginBottom": 10, "outputIndent": 0,
}  # fmt: skip

_SHARED_OUT = {"breaks": "line", "minLastJustification": 0.4}  # of even systems the last is as full as the others
_SHARED = (Kind.DYNAMIC, Kind.HAIRPIN, Kind.TEXT)
_WIDEST = 120.0  # between staves, in half spaces: written on the score, for as an option Verovio takes 48 at most
_TRIES = 6  # drawings at most until no system is crowded
_breaks = Breaks(512)


def engrave(line: Line, marks: Marks, look: Look) -> Picture:
    """Draw a line with its marks. Marks outside the line are left out and named in `warnings`."""
    root = etree.fromstring(plain_mei(line))
    prepare(root, line, look, {a for m in marks for a in (m.at, m.to)})
    sheet = Sheet(root, line, look)
    warnings = lay(sheet, marks)
    return _draw([sheet], [(line, marks)], look, warnings)


def engrave_together(
    staves: Sequence[tuple[str, Line, Marks]],
    look: Look,
    inferred: Sequence[Marks] = (),
    against: Marks | None = None,
    room_mm: float = 0.0,
) -> Picture:
    """Draw several markings of the same bars as staves of one system, each with its label.

    Notes whose marks differ from the first staff's are ringed, dynamics the staves share stand
    on the top staff only. `inferred` are bow signs nobody wrote, staff by staff: they are drawn
    as with `Look.inferred` and ring nothing. With `against` what differs from these marks is ringed
    instead; `room_mm` is left free under each staff for a strip. Raises LineError when the lines
    don't have the same bars.
    """
    first = staves[0]
    indices = [b.index for b in first[1].bars]
    if any([b.index for b in line.bars] != indices for _, line, _ in staves):
        raise LineError("Only markings of the same bars can stand under each other.")
    top_marks = set(first[2])
    sheets, chosen, ringed = [], [], []
    warnings: list[str] = []
    extras = [*inferred, *[()] * (len(staves) - len(inferred))]
    for number, ((_, line, marks), extra) in enumerate(zip(staves, extras, strict=True), 1):
        root = etree.fromstring(plain_mei(line))
        if number > 1:
            rename(root, number)
        sheet = Sheet(root, line, replace(look, inferred=extra), number)
        shown = tuple(m for m in marks if number == 1 or m.kind not in _SHARED or m not in top_marks)
        warnings += lay(sheet, (*shown, *extra))
        sheets.append(sheet)
        chosen.append((line, (*marks, *extra)))
        others = [m for n, (_, _, m) in enumerate(staves, 1) if n != number]
        beside = [against] if against is not None else others if number == 1 else [first[2]]
        ringed.append({event_address(c.at) for other in beside for c in changes(other, marks)})
    join([sheet.root for sheet in sheets], [label for label, _, _ in staves])
    prepare(sheets[0].root, first[1], replace(look, empty_bars=True), set())
    return _draw(sheets, chosen, look, tuple(warnings), ringed, room_mm)


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
    sheets: Sequence[Sheet],
    lines: Sequence[tuple[Line, Marks]],
    look: Look,
    warnings: tuple[str, ...],
    ringed: Sequence[Set[str]] = (),
    room_mm: float = 0.0,
) -> Picture:
    options: dict[str, object] = {**_FIXED, "pageWidth": round(72 * look.width_mm / look.staff_mm)}
    if not look.bar_numbers:
        options["mnumInterval"] = 1000
        for number in list(sheets[0].root.iter(MEI + "mNum")):
            number.getparent().remove(number)
    labels = {key: text for sheet in sheets for key, text in sheet.labels.items()}
    written = {key: words for sheet in sheets for key, words in sheet.written.items()}
    beside = {key: words for sheet in sheets for key, words in sheet.beside.items()}
    at = {key: address for sheet in sheets for key, address in sheet.at.items()}
    speakers = (
        [
            Speaker(line, marks, look.words, sheet.look.inferred)
            for (line, marks), sheet in zip(lines, sheets, strict=False)
        ]
        if look.screen
        else []
    )
    only = [line for line, _ in lines]
    root = sheets[0].root
    spacing = min(_WIDEST, 12.0 + room_mm / look.staff_mm * 8)
    place = (tuple(line.digest for line in only), options["pageWidth"], look.first_meter, look.empty_bars)
    given = _breaks.get(place)
    if given is not None:
        write_breaks(root, given)
        options |= _SHARED_OUT
    for _ in range(_TRIES):
        for score in root.iter(MEI + "scoreDef"):
            score.set("spacing.staff", f"{round(spacing)}vu")
        with toolkit(options) as verovio:
            verovio.loadData(etree.tostring(root, encoding="unicode"))
            pages = [verovio.renderToSVG(n) for n in range(1, verovio.getPageCount() + 1)]
        systems = tuple(
            assemble(
                take_apart(page), only, look, n,
                labels=labels, written=written, beside=beside, at=at, speakers=speakers, ringed=ringed,
                room_mm=room_mm,
            )
            for n, page in enumerate(pages)
        )  # fmt: skip
        crowded = [n for n, system in enumerate(systems) if len(system.bars) > 1 and is_crowded(system, only, look)]
        over = max(system.overlap_mm for system in systems) if len(lines) > 1 else 0.0
        found = [sorted(system.bars) for system in systems]
        if given is None and len(systems) > 1 and not crowded:
            given = even_breaks(systems)
        elif crowded:
            given = part_crowded(found, crowded[0])
        if given is not None and given != found:
            write_breaks(root, given)
            options |= _SHARED_OUT
        elif over > 0 and spacing < _WIDEST:
            spacing = min(_WIDEST, spacing + over / look.staff_mm * 8 + 1)
        else:
            break
    if given is not None:
        _breaks.put(place, [sorted(system.bars) for system in systems])
    if room_mm and not all(system.rooms for system in systems):  # then all of them have their strips at the foot
        systems = tuple(replace(system, rooms=()) for system in systems)
    return Picture(systems, warnings=warnings)
