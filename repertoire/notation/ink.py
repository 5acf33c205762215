"""Verovio's drawing taken apart into signs, each with its shapes and the room it takes.

The drawing's wrapper groups and style sheet are dropped: what is left are paths, glyphs
and words that need no style sheet, with boxes by which signs are kept from touching.
Coordinates are Verovio's: a staff is 720 units high, y runs downwards.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from html import escape
from itertools import pairwise
from typing import Any

import verovio
from lxml import etree

STAFF = 720.0
SVG = "{http://www.w3.org/2000/svg}"
_FOLDER = os.path.join(os.path.dirname(verovio.__file__), "data")
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
_MOVE = re.compile(r"translate\((-?[\d.]+),? ?(-?[\d.]+)\) scale\((-?[\d.]+)")
_UPRIGHT = re.compile(r"rotate\(-90(?:\.0*)? (-?[\d.]+),(-?[\d.]+)\)")  # the wavy line of an arpeggio
_SEPARATE = frozenset((
    "note", "rest", "mRest", "multiRest", "chord", "stem", "flag", "beam", "accid", "artic", "dots", "clef", "keySig",
    "meterSig", "barLine", "ledgerLines", "tie", "slur", "fing", "dir", "dynam", "hairpin", "trill", "turn", "mordent",
    "breath", "caesura", "fermata", "octave", "gliss", "bracketSpan", "tempo", "reh", "ending", "mNum", "tuplet",
    "tupletBracket", "tupletNum", "staff", "grpSym", "label", "labelAbbr", "repeatMark", "fTrem", "bTrem", "arpeg",
))  # fmt: skip
_OWNERS = frozenset(("mark-own", "mark-printed", "mark-replaced", "mark-inferred"))
_IN_WORDS = 0.62  # music glyphs among words, such as the note of a metronome mark
Box = tuple[float, float, float, float]


@dataclass
class Shape:
    """A path, polygon, glyph or piece of text; `boxes` is the room it takes, in small pieces for a curve."""

    tag: str
    body: str  # path or points; glyph code; the words
    x: float = 0.0
    y: float = 0.0
    size: float = 1.0
    width: float = 0.0
    dash: str = ""
    style: str = ""
    boxes: list[Box] = field(default_factory=list)
    filled: bool = True
    turn: int = 0  # degrees about its own place, clockwise; only of glyphs


@dataclass
class Sign:
    """What one group of the drawing shows. `dx`, `dy`: how far it has been moved since (right, down)."""

    name: str
    classes: tuple[str, ...] = ()
    ident: str = ""
    shapes: list[Shape] = field(default_factory=list)
    dx: float = 0.0
    dy: float = 0.0
    parent: Sign | None = None
    staff: int = -1  # from 0 at the top; -1 when the drawing doesn't say
    staves: int = 0  # of a measure: how many have been read
    row: str = ""  # of words: key of the dynamic on whose line they stand

    @property
    def owner(self) -> str:
        for name in self.classes:
            if name in _OWNERS:
                return name
        return ""

    @property
    def key(self) -> str:
        """The id the sign was given, also on the systems it continues over."""
        for name in self.classes:
            if name.startswith("id-"):
                return name[3:]
        return self.ident

    @property
    def kind(self) -> str:
        for name in self.classes:
            if name.startswith("kind-"):
                return name[5:]
        return ""

    def boxes(self) -> Iterator[Box]:
        dx, dy = self.dx, self.dy
        for shape in self.shapes:
            if not dx and not dy:
                yield from shape.boxes
                continue
            for x1, y1, x2, y2 in shape.boxes:
                yield x1 + dx, y1 + dy, x2 + dx, y2 + dy

    @property
    def box(self) -> Box | None:
        return union(self.boxes())


def union(boxes: Iterable[Box]) -> Box | None:
    found = list(boxes)
    if len(found) < 2:
        return found[0] if found else None
    lefts, tops, rights, lows = zip(*found, strict=True)
    return min(lefts), min(tops), max(rights), max(lows)


@dataclass(frozen=True)
class Drawing:
    """One page of Verovio taken apart. Glyph outlines by code; `left` is the margin that places count from."""

    signs: tuple[Sign, ...]
    width: float
    height: float
    outlines: dict[str, str]
    left: float = 0.0


def take_apart(svg: str) -> Drawing:
    """Read one page as Verovio writes it (svgViewBox on)."""
    root = etree.fromstring(svg.encode())
    outlines = {}
    for glyph in root.find(SVG + "defs"):
        outlines[glyph.get("id").partition("-")[0]] = glyph[0].get("d")
    page = next(e for e in root.iter(SVG + "svg") if e is not root)
    _, _, width, height = (float(n) for n in page.get("viewBox").split())
    margin = page.find(SVG + "g")
    left = float(_NUMBER.findall(margin.get("transform"))[0])
    signs: list[Sign] = []
    for child in margin:
        _read(child, Sign("page"), signs)
    return Drawing(tuple(s for s in signs if s.shapes or s.name in ("note", "measure")), width, height, outlines, left)


def _read(element: Any, sign: Sign, signs: list[Sign]) -> None:
    tag = element.tag
    if tag == SVG + "g":
        names = (element.get("class") or "").split()
        if "placeholder" in names or ("systemMilestone" in names and "ending" not in names):
            return
        first = names[0] if names else ""
        if first in _SEPARATE or first == "measure":
            sign = Sign(first, tuple(names[1:]), element.get("id") or "", parent=sign, staff=sign.staff)
            told = next((n for n in names if n[:2] == "on" and n[2:].isdigit()), "")
            if first == "staff" and sign.parent is not None:
                sign.staff = sign.parent.staves
                sign.parent.staves += 1
            elif told:
                sign.staff = int(told[2:]) - 1
            signs.append(sign)
        for child in element:
            _read(child, sign, signs)
        if upright := _UPRIGHT.match(element.get("transform") or ""):
            _turn_upwards(sign, float(upright[1]), float(upright[2]))
    elif tag == SVG + "use":
        found = _MOVE.match(element.get("transform"))
        assert found is not None
        x, y, size = (float(n) for n in found.groups())
        code = element.get("href", element.get("{http://www.w3.org/1999/xlink}href"))[1:].partition("-")[0]
        sign.shapes.append(glyph(code, x, y, size))
    elif tag == SVG + "text":
        sign.shapes.extend(_words(element, sign))
    elif tag in (SVG + "path", SVG + "polygon", SVG + "polyline", SVG + "rect", SVG + "ellipse"):
        sign.shapes.append(_outline(element, tag.removeprefix(SVG)))


def _turn_upwards(sign: Sign, x: float, y: float) -> None:
    """Turn what lies to the right of a place so that it stands above it."""
    for shape in sign.shapes:
        shape.turn = -90
        shape.x, shape.y = x + shape.y - y, y - shape.x + x
        shape.boxes = [(x + b[1] - y, y - b[2] + x, x + b[3] - y, y - b[0] + x) for b in shape.boxes]


def glyph(code: str, x: float, y: float, size: float) -> Shape:
    left, low, width, height = _glyph_boxes().get(code, (0.0, 0.0, 300.0, 300.0, 300.0))[:4]
    box = (x + left * size, y - (low + height) * size, x + (left + width) * size, y - low * size)
    return Shape("glyph", code, x, y, size, boxes=[box])


def _outline(element: Any, tag: str) -> Shape:
    width = float(element.get("stroke-width") or 0)
    half = width / 2
    if tag == "rect":
        x, y = float(element.get("x")), float(element.get("y"))
        w, h = float(element.get("width")), float(element.get("height"))
        hollow = element.get("fill-opacity") == "0"  # the frame of a rehearsal letter
        body = f"M{x:g} {y:g}h{w:g}v{h:g}h{-w:g}z"
        return Shape("path", body, width=width if hollow else 0, filled=not hollow, boxes=[(x, y, x + w, y + h)])
    if tag == "ellipse":
        x, y = float(element.get("cx")), float(element.get("cy"))
        r = float(element.get("rx"))
        body = f"M{x - r:g} {y:g}a{r:g} {r:g} 0 1 0 {2 * r:g} 0a{r:g} {r:g} 0 1 0 {-2 * r:g} 0z"
        return Shape("path", body, boxes=[(x - r, y - r, x + r, y + r)])
    body, filled, boxes = _read_path(tag, element.get("d") or element.get("points"), half)
    shape = Shape("path", body, width=width, dash=element.get("stroke-dasharray") or "", boxes=list(boxes))
    shape.filled = filled and element.get("fill") != "none"
    shape.style = "round" if element.get("stroke-linecap") == "round" else ""
    return shape


@lru_cache(maxsize=8192)
def _read_path(tag: str, source: str, half: float) -> tuple[str, bool, tuple[Box, ...]]:
    """Path, whether it is filled, and its boxes. Kept: from one mark to the next most lines stay where they are."""
    numbers = [float(n) for n in _NUMBER.findall(source)]
    points = [(numbers[i], numbers[i + 1]) for i in range(0, len(numbers) - 1, 2)]
    curved = "C" in source
    if tag == "path":
        body = source
    else:
        body = "M" + "L".join(f"{x:g} {y:g}" for x, y in points) + ("z" if tag == "polygon" else "")
    filled = tag == "polygon" or (tag == "path" and curved)
    if curved and len(points) >= 4:
        return body, filled, tuple(_along(points[:4], half))
    if tag == "polygon" and len(points) == 4:
        return body, filled, tuple(_slanted(points))
    return body, filled, tuple(b for p, q in pairwise(points) for b in _straight(p, q, half))


def _straight(p: tuple[float, float], q: tuple[float, float], half: float) -> Iterator[Box]:
    steps = 1 if p[0] == q[0] or p[1] == q[1] else max(1, int(abs(q[0] - p[0]) // 120))
    for n in range(steps):
        x1, y1 = p[0] + (q[0] - p[0]) * n / steps, p[1] + (q[1] - p[1]) * n / steps
        x2, y2 = p[0] + (q[0] - p[0]) * (n + 1) / steps, p[1] + (q[1] - p[1]) * (n + 1) / steps
        yield min(x1, x2) - half, min(y1, y2) - half, max(x1, x2) + half, max(y1, y2) + half


def _slanted(points: list[tuple[float, float]]) -> Iterator[Box]:
    """A beam: two upper and two lower corners, in pieces."""
    (x1, y1), (x2, y2), (_, y3), (_, y4) = points
    steps = max(1, int(abs(x2 - x1) // 120))
    for n in range(steps):
        a, b = n / steps, (n + 1) / steps
        tops = [y1 + (y2 - y1) * a, y1 + (y2 - y1) * b]
        lows = [y4 + (y3 - y4) * a, y4 + (y3 - y4) * b]
        yield x1 + (x2 - x1) * a, min(tops + lows), x1 + (x2 - x1) * b, max(tops + lows)


def _along(points: list[tuple[float, float]], half: float) -> Iterator[Box]:
    """A Bézier curve (slur, tie) in short pieces."""
    (ax, ay), (bx, by), (cx, cy), (ex, ey) = points
    steps = max(6, min(40, int(abs(ex - ax) // 100)))
    last = (ax, ay)
    for n in range(1, steps + 1):
        t = n / steps
        u = 1 - t
        x = u**3 * ax + 3 * u * u * t * bx + 3 * u * t * t * cx + t**3 * ex
        y = u**3 * ay + 3 * u * u * t * by + 3 * u * t * t * cy + t**3 * ey
        yield min(last[0], x), min(last[1], y) - half - 20, max(last[0], x), max(last[1], y) + half + 20
        last = (x, y)


def _words(element: Any, sign: Sign) -> Iterator[Shape]:
    """Text pieces with places of their own; music glyphs among them become outlines."""
    italic, bold = sign.name in ("dir", "dynam", "mNum"), sign.name in ("ending", "fing", "reh", "tempo")
    pieces: list[tuple[str, float, bool, bool, bool]] = []
    _pieces(element, 0.0, italic, bold, False, pieces)
    anchor = element.get("text-anchor") or "start"
    x, y = float(element.get("x") or 0), float(element.get("y") or 0)
    total = sum(_advance(text, size, i, b, music) for text, size, i, b, music in pieces)
    x -= {"middle": total / 2, "end": total}.get(anchor, 0.0)
    for text, size, is_italic, is_bold, music in pieces:
        wide = _advance(text, size, is_italic, is_bold, music)
        if music:
            here = x
            for sign_char in text:
                code = f"{ord(sign_char):04X}"
                yield glyph(code, here, y, size / 1000)
                here += _glyph_boxes().get(code, (0, 0, 0, 0, 300.0))[4] * size / 1000
        elif text:
            yield words_at(text, x, y, size, italic=is_italic, bold=is_bold)
        x += wide


def words_at(text: str, x: float, y: float, size: float, *, italic: bool = False, bold: bool = False) -> Shape:
    """A piece of text whose left end stands at x, on the base line y."""
    wide = _advance(text, size, italic, bold, False)
    up, down = _heights(text, size)
    style = ("italic " if italic else "") + ("bold" if bold else "")
    return Shape("text", text, x, y, size, style=style.strip(), boxes=[(x, y - up, x + wide, y + down)])


def _pieces(
    element: Any, size: float, italic: bool, bold: bool, music: bool, out: list[tuple[str, float, bool, bool, bool]]
) -> None:
    own = element.get("font-size")
    if own and float(own.removesuffix("px")):
        size = float(own.removesuffix("px"))
    if element.get("font-style"):
        italic = element.get("font-style") == "italic"
    if element.get("font-weight"):
        bold = element.get("font-weight") == "bold"
    if element.get("font-family") == "Leipzig" and not music:
        music, size = True, size * _IN_WORDS
    text = element.text or ""
    if text.strip() or (text and "\n" not in text):
        out.append((text, size, italic, bold, music))
    for child in element:
        _pieces(child, size, italic, bold, music, out)


def _advance(text: str, size: float, italic: bool, bold: bool, music: bool) -> float:
    if music:
        return sum(_glyph_boxes().get(f"{ord(c):04X}", (0, 0, 0, 0, 300.0))[4] for c in text) * size / 1000
    widths = _text_widths(italic, bold)
    return sum(widths.get(c, 1024.0) for c in text) * size / 2048


def _heights(text: str, size: float) -> tuple[float, float]:
    up = 0.68 if re.search(r"[A-Z0-9bdfhijklt½⅓¼¾⅔()|▲]", text) else 0.47
    down = 0.22 if re.search(r"[gjpqy,()]", text) else 0.02
    return up * size, down * size


@lru_cache(maxsize=1)
def _glyph_boxes() -> dict[str, tuple[float, float, float, float, float]]:
    root = etree.parse(os.path.join(_FOLDER, "Leipzig.xml")).getroot()
    return {
        g.get("c"): (float(g.get("x")), float(g.get("y")), float(g.get("w")), float(g.get("h")), float(g.get("h-a-x")))
        for g in root.iter("g")
    }


# Figures are half an em wide in all Times faces, fractions three quarters [P: Adobe's font metrics of Times].
_FIGURES = dict.fromkeys("0123456789", 1024.0) | dict.fromkeys("½¼¾", 1536.0)


@lru_cache(maxsize=4)
def _text_widths(italic: bool, bold: bool) -> dict[str, float]:
    name = "Times" + ("-bold" if bold else "") + ("-italic" if italic else "") + ".xml"
    root = etree.parse(os.path.join(_FOLDER, "text", name)).getroot()
    return {chr(int(g.get("c"), 16)): _advance_of(g) for g in root.iter("g")} | _FIGURES


def _advance_of(glyph: Any) -> float:
    """A letter's width with the white on both sides, which the file tells for some letters only."""
    left, wide = float(glyph.get("x") or 0), float(glyph.get("w") or 0)
    return float(glyph.get("h-a-x") or wide + 2 * max(left, 15))


@lru_cache(maxsize=256)
def glyph_outline(code: str) -> str:
    """Outline of a music glyph that the drawing didn't define itself (metronome notes)."""
    path = os.path.join(_FOLDER, "Leipzig", f"{code}.xml")
    if not os.path.exists(path):
        return ""
    found = etree.parse(path).getroot().iter("{*}path", "path")
    return next((p.get("d") for p in found), "")


def shape_svg(shape: Shape, outlines: dict[str, str], *, bold: float = 0.0, use: str = "") -> str:
    """One shape as SVG. `bold` thickens glyphs and lines; `use` is the id prefix of shared glyph outlines."""
    if shape.tag == "text":
        style = ' font-style="italic"' if "italic" in shape.style else ""
        style += ' font-weight="bold"' if "bold" in shape.style else ""
        return (
            f'<text x="{shape.x:.0f}" y="{shape.y:.0f}" font-size="{shape.size:.0f}"{style}>{escape(shape.body)}</text>'
        )
    if shape.tag == "glyph":
        thick = f' stroke="currentColor" stroke-width="{bold / shape.size:.0f}"' if bold else ""
        turn = f" rotate({shape.turn})" if shape.turn else ""
        place = f"translate({shape.x:.0f} {shape.y:.0f}){turn} scale({shape.size:g} {-shape.size:g})"
        if use:
            return f'<use href="#{use}{shape.body}" transform="{place}"{thick}/>'
        outline = outlines.get(shape.body) or glyph_outline(shape.body)
        return f'<path d="{outline}" transform="{place}"{thick}/>'
    width = shape.width + bold
    line = f' stroke="currentColor" stroke-width="{width:g}"' if width else ""
    if shape.dash:
        line += f' stroke-dasharray="{shape.dash}"'
    if shape.style == "round":
        line += ' stroke-linecap="round" stroke-linejoin="round"'
    if not shape.filled:
        line += ' fill="none"'
    return f'<path d="{shape.body}"{line}/>'
