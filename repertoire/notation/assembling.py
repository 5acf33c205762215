"""The signs of one system put together as a drawing in millimetres.

Printed and own marks get their look here (ink on screen, weight on paper), notes become
places that take focus and touch, and the places of notes, staves and bars are told in mm.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from html import escape

from repertoire.technique.line import ADDRESS, Line, event_address, parse_address

from .dressing import clear_bows, dress, spread, strengthen
from .dynamic_words import set_words
from .frames import SignsOnNotes
from .ink import STAFF, Drawing, Sign, glyph_outline, shape_svg, union
from .laying import Beside, Words
from .look import Look
from .picture import FONTS, INK, OWN_INK, StaffPlace, System
from .placing import overlap, place, room_under
from .printing_ink import PrintingInk
from .signs import Speaker

_PALE = {"mark-replaced": "#8f8f8f", "mark-printed": "#6b6b6b", "mark-inferred": "#6b6b6b"}  # 5.3:1 on white [A]
_MARGIN, _MARGIN_ON_SCREEN = 60.0, 95.0  # a frame round the outermost sign is seen whole
_BOLD, _BOLD_ON_PAPER = {"mark-own": 9.0}, {"mark-own": 18.0}


def assemble(
    drawing: Drawing, lines: Sequence[Line], look: Look, number: int,
    *, labels: Mapping[str, str], written: Mapping[str, Words], beside: Mapping[str, Beside], at: Mapping[str, str],
    speakers: Sequence[Speaker], ringed: Sequence[Set[str]] = (), room_mm: float = 0.0,
) -> System:  # fmt: skip
    """One system of a picture; `number` counts from 0 and keeps ids of shared outlines apart.
    `room_mm` is wanted free under each staff but the last; what is missing counts as overlap."""
    signs = [s for s in drawing.signs if s.name != "measure"]
    staves = _staves(signs, len(lines))
    heads = [_heads(signs, staff) for staff in range(len(lines))]
    dress(
        signs,
        labels,
        written,
        at,
        {a: s for places in heads for a, (_, _, s) in places.items()},
        drawing.width - drawing.left,
    )
    set_words(signs, beside, drawing.width - drawing.left)
    if not look.screen:
        strengthen(signs)
    spread(signs)
    clear_bows(signs)
    place(signs, staves, at)
    everything = union(b for s in signs for b in s.boxes())
    assert everything is not None
    margin = _MARGIN_ON_SCREEN if look.screen else _MARGIN
    top, bottom = everything[1] - margin, everything[3] + margin
    scale = look.staff_mm / STAFF
    width, height = drawing.width * scale, (bottom - top) * scale
    use = f"{look.prefix}s{number}-" if look.screen else ""
    parts = []
    if use:
        codes = sorted({s.body for sign in signs for s in sign.shapes if s.tag == "glyph"})
        outlines = "".join(f'<path id="{use}{c}" d="{drawing.outlines.get(c) or glyph_outline(c)}"/>' for c in codes)
        parts.append(f"<defs>{outlines}</defs>")
    parts.append(
        f'<g transform="scale({scale:.6g}) translate({drawing.left:.0f} {-top:.0f})" color="{INK}" fill="currentColor" '
        f'stroke="none" font-family="{FONTS}">'
    )
    if look.screen:
        parts.extend(_drawn(sign, drawing.outlines, use, look) for sign in signs if not _picked(sign))
    else:
        parts.append(_printed(signs, drawing.outlines, look))
    for staff, (line, places) in enumerate(zip(lines, heads, strict=True)):
        if look.screen:
            around = SignsOnNotes(signs, at, staff)
            parts.extend(
                _notes(line, speakers[staff], places, staves[staff], around, drawing.outlines, look, use, staff)
            )
        parts.extend(_rings(places, ringed[staff] if ringed else frozenset()))
    parts.append("</g>")
    in_mm = [
        {a: ((x + drawing.left) * scale, (y - top) * scale) for a, (x, y, _) in places.items()} for places in heads
    ]
    rooms = tuple(((a - top) * scale, (b - top) * scale) for a, b in room_under(signs, staves)) if room_mm else ()
    missing = max((room_mm - (end - start) for start, end in rooms), default=0.0)
    staff_places = tuple(
        StaffPlace((a - top) * scale, (b - top) * scale, (c + drawing.left) * scale, (d + drawing.left) * scale)
        for a, b, c, d in staves
    )
    return System(
        "".join(parts),
        width,
        height,
        in_mm[0],
        staff_places,
        _bars(drawing, scale),
        tuple(in_mm),
        screen=look.screen,
        overlap_mm=max(overlap(signs, staves) * scale, missing) if len(staves) > 1 else 0.0,
        rooms=rooms if missing <= 0 else (),
    )


def _picked(sign: Sign) -> bool:
    return sign.name in ("note", "rest", "mRest") and bool(ADDRESS.match(_address(sign)))


def _address(sign: Sign) -> str:
    return sign.ident.rpartition("_")[2]


def _pale(owner: str, look: Look) -> str:
    """The colour of signs that step back behind the notes; "" for those in their ink."""
    return "" if owner == "mark-printed" and not look.pale_printed else _PALE.get(owner, "")


def _drawn(sign: Sign, outlines: dict[str, str], use: str, look: Look) -> str:
    """A sign for the screen, where it can be told by its class."""
    bold = 0.0 if sign.name == "octave" else _BOLD.get(sign.owner, 0.0)
    shapes = "".join(shape_svg(s, outlines, bold=bold if s.tag != "text" else 0.0, use=use) for s in sign.shapes)
    moved = f' transform="translate({sign.dx:.0f} {sign.dy:.0f})"' if sign.dx or sign.dy else ""
    if not sign.owner and not moved:
        return shapes
    colour = OWN_INK if sign.owner == "mark-own" else _pale(sign.owner, look)
    kind = f' class="{sign.owner} kind-{sign.kind}"' if sign.owner else ""
    return f"<g{kind}" + (f' color="{colour}"' if colour else "") + f"{moved}>{shapes}</g>"


def _printed(signs: Sequence[Sign], outlines: dict[str, str], look: Look) -> str:
    """All signs for paper: printed marks paler, the teacher's own in heavier lines."""
    ink = PrintingInk(outlines)
    for sign in signs:
        strong = _BOLD if sign.name == "dynam" else _BOLD_ON_PAPER
        bold = 0.0 if sign.name == "octave" else strong.get(sign.owner, 0.0)
        for shape in sign.shapes:
            ink.add(shape, colour=_pale(sign.owner, look), dx=sign.dx, dy=sign.dy, bold=bold)
    return ink.svg()


def _staves(signs: Sequence[Sign], count: int) -> list[tuple[float, float, float, float]]:
    """Top, bottom, left and right of each staff, in drawing units."""
    found: list[list[float]] = []
    for number in range(count):
        boxes = [b for s in signs if s.name == "staff" and s.staff == number for b in s.boxes()]
        half = 6.5
        found.append([
            min(b[1] for b in boxes) + half, max(b[3] for b in boxes) - half,
            min(b[0] for b in boxes), max(b[2] for b in boxes),
        ])  # fmt: skip
    return [(a, b, c, d) for a, b, c, d in found]


def _heads(signs: Sequence[Sign], staff: int) -> dict[str, tuple[float, float, Sign]]:
    """Centre of each head (and rest) of a staff by address, with its sign; a chord's is its lowest note's."""
    places: dict[str, tuple[float, float, Sign]] = {}
    for sign in signs:
        address = _address(sign)
        if sign.name not in ("note", "rest", "mRest") or not ADDRESS.match(address) or not sign.shapes:
            continue
        if sign.staff != staff:
            continue
        head = sign.shapes[0]
        box = head.boxes[0]
        y = head.y if sign.name == "note" else (box[1] + box[3]) / 2
        places[address] = ((box[0] + box[2]) / 2, y, sign)
        event = event_address(address)
        if event != address and event not in places:
            places[event] = places[address]
    return places


def _rings(places: Mapping[str, tuple[float, float, Sign]], addresses: Set[str]) -> list[str]:
    """A ring around each note that is marked differently elsewhere."""
    return [
        f'<ellipse class="differs" cx="{x:.0f}" cy="{y:.0f}" rx="225" ry="195" fill="none" stroke="currentColor" '
        f'stroke-width="22" stroke-dasharray="60 40"/>'
        for x, y in sorted({places[a][:2] for a in addresses if a in places})
    ]


def _notes(
    line: Line, speaker: Speaker, places: dict[str, tuple[float, float, Sign]],
    staff: tuple[float, float, float, float], around: SignsOnNotes, outlines: dict[str, str], look: Look, use: str,
    number: int,
) -> list[str]:  # fmt: skip
    own = [(a, p) for a, p in places.items() if a == _address(p[2])]
    own.sort(key=lambda pair: (parse_address(pair[0])[:2], parse_address(pair[0])[2]))
    columns = sorted({x for _, (x, _, _) in own})
    first = line.events[0].address if line.events else ""
    heights: dict[str, list[float]] = {}
    for address, (_, y, _) in own:
        heights.setdefault(event_address(address), []).append(y)
    out = []
    for address, (x, y, sign) in own:
        at = columns.index(x)
        left = (columns[at - 1] + x) / 2 if at else x - 200
        right = (columns[at + 1] + x) / 2 if at + 1 < len(columns) else x + 200
        left, right = max(left, x - 500), min(right, x + 500)
        members = heights[event_address(address)]
        left, top, right, low = around.frame(event_address(address), (x, y), staff[:2], (left, right))
        above = [py for py in members if py < y]
        below = [py for py in members if py > y]
        top = (max(above) + y) / 2 if above else top
        low = (min(below) + y) / 2 if below else low
        label = escape(speaker.speak(address), quote=True)
        ident = f"{look.prefix}{f'v{number + 1}_' if number else ''}{address}"
        focus = 0 if event_address(address) == first and not number and not parse_address(address)[2] > 1 else -1
        heads = "".join(shape_svg(s, outlines, use=use) for s in sign.shapes)
        owner = f" {sign.owner}" if sign.owner else ""
        out.append(
            f'<g id="{ident}" class="{"rest" if sign.name != "note" else "note"}{owner}" data-address="{address}" '
            f'tabindex="{focus}" role="{look.note_role}" aria-label="{label}"><title>{label}</title>{heads}'
            f'<rect class="hit" x="{left:.0f}" y="{top:.0f}" width="{right - left:.0f}" height="{low - top:.0f}" '
            f'fill="none" pointer-events="all"/></g>'
        )
    return out


def _bars(drawing: Drawing, scale: float) -> dict[int, tuple[float, float]]:
    bars: dict[int, tuple[float, float]] = {}
    for sign in drawing.signs:
        measure = sign.parent
        if sign.name == "staff" and measure is not None and measure.ident.startswith("bar"):
            box = sign.box
            if box:
                bars.setdefault(
                    int(measure.ident[3:]), ((box[0] + drawing.left) * scale, (box[2] + drawing.left) * scale)
                )
    return bars
