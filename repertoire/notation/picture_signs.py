"""Signs drawn on a picture of printed music: the picture and its signs as one system.

The drawing counts in millimetres like engraved notation and can stand wherever that stands.
Signs are drawn here from lines and plain letters, sized by the staves of the picture (by its
width where no stave was found), each with a halo of paper so that it stays legible over notes.
"""

from __future__ import annotations

from collections.abc import Collection
from html import escape

from repertoire.technique.marks import Kind, Mark, Marks
from repertoire.technique.picture_marks import Paper, describe, in_order
from repertoire.technique.picture_places import parse_place

from .picture import FONTS, INK, OWN_INK, Picture, System

SPACE_OF_WIDTH = 0.0095  # a staff space where no stave was found: 1.7 mm in a column of 180
SPACE_MM = (0.95, 3.2)  # the smallest and largest staff space signs are sized by


def draw(
    uri: str,
    paper: Paper,
    marks: Marks,
    *,
    width_mm: float,
    screen: bool = True,
    ringed: Collection[Mark] = (),
    image: bool = True,
) -> Picture:
    """The picture at `uri` with signs, `width_mm` wide. Signs in `ringed` get a ring.
    Without `image` the signs alone, as they lie over the picture."""
    height_mm = width_mm * paper.height / paper.width
    pen = _Pen(width_mm, height_mm, _space(paper, width_mm), OWN_INK if screen else INK)
    signs = "".join(pen.sign(mark, mark in ringed) for mark in in_order(marks, paper))
    size = f'width="{width_mm:.3f}" height="{height_mm:.3f}"'
    scan = f'<image class="scan" x="0" y="0" {size} preserveAspectRatio="none" href="{escape(uri)}"/>' if image else ""
    over, under = pen.room(marks) if image else (0.0, 0.0)
    body = f'<g font-family="{FONTS}" transform="translate(0 {over:.3f})">{scan}{signs}</g>'
    label = spoken(paper, marks)
    system = System(
        body=body, width_mm=width_mm, height_mm=height_mm + over + under, notes={}, label=label, screen=False
    )
    return Picture((system,), label=label)


def spoken(paper: Paper, marks: Marks) -> str:
    """The picture for those who can't see it: its signs in reading order."""
    found = [describe(mark, paper) for mark in in_order(marks, paper)]
    count = f"{len(found)} sign{'' if len(found) == 1 else 's'}"
    return f"Picture of the printed music with {count}: {'; '.join(found)}" if found else "Picture of the printed music"


def _space(paper: Paper, width_mm: float) -> float:
    """The staff space in mm that signs are sized by."""
    known = paper.staff_px / 4 / paper.width * width_mm
    return min(max(known or SPACE_OF_WIDTH * width_mm, SPACE_MM[0]), SPACE_MM[1])


class _Pen:
    """Draws signs on a sheet `width` by `height` mm with a staff space of `space` mm."""

    def __init__(self, width: float, height: float, space: float, ink: str) -> None:
        self.width, self.height, self.space, self.ink = width, height, space, ink

    def at(self, address: str) -> tuple[float, float]:
        place = parse_place(address)
        return place.x * self.width, place.y * self.height

    def room(self, marks: Marks) -> tuple[float, float]:
        """How many mm signs at the edges reach above and below the picture."""
        tall = 1.6 * self.space
        levels = [self.at(end)[1] for mark in marks for end in (mark.at, mark.to) if end]
        slurs = [self.at(m.at)[1] - 4.0 * self.space for m in marks if m.kind is Kind.SLUR]
        above = max([tall - y for y in levels] + [-y for y in slurs], default=0.0)
        below = max((y + tall - self.height for y in levels), default=0.0)
        return max(above, 0.0), max(below, 0.0)

    def sign(self, mark: Mark, ringed: bool) -> str:
        x, y = self.at(mark.at)
        draw = {
            Kind.BOW: self.bow, Kind.RETAKE: self.retake, Kind.SLUR: self.slur, Kind.FINGER: self.finger,
            Kind.STRING: self.string, Kind.TEXT: self.words,
        }[mark.kind]  # fmt: skip
        ring = ""
        if ringed:
            ring = (
                f'<circle class="differs" cx="{x:.2f}" cy="{y:.2f}" r="{1.9 * self.space:.2f}" fill="none" '
                f'stroke="currentColor" stroke-width="{0.22 * self.space:.2f}"/>'
            )
        return f'<g class="mark-own" color="{self.ink}">{draw(mark, x, y)}</g>{ring}'

    def bow(self, mark: Mark, x: float, y: float) -> str:
        s = self.space
        if mark.value == "down":
            w, h = 0.8 * s, 0.75 * s
            left, right, top, bottom = x - w, x + w, y - h, y + h
            path = f"M{left:.2f} {bottom:.2f}V{top:.2f}H{right:.2f}V{bottom:.2f}"
            bar = f'<path d="M{left:.2f} {top:.2f}H{right:.2f}v{0.65 * s:.2f}H{left:.2f}z" fill="currentColor"/>'
            return self.line(path, 0.2 * s) + bar
        w, h = 0.6 * s, 0.95 * s
        return self.line(f"M{x - w:.2f} {y - h:.2f}L{x:.2f} {y + h:.2f}L{x + w:.2f} {y - h:.2f}", 0.24 * s)

    def retake(self, mark: Mark, x: float, y: float) -> str:
        s = self.space
        left, right, low = x - 0.55 * s, x + 0.6 * s, y + 0.5 * s
        arc = (
            f"M{left:.2f} {low:.2f}C{left + 0.05 * s:.2f} {low - 1.3 * s:.2f} {right - 0.05 * s:.2f} "
            f"{low - 1.3 * s:.2f} {right:.2f} {low - 0.4 * s:.2f}"
        )
        tip = f"M{right - 0.32 * s:.2f} {low - 0.5 * s:.2f}h{0.64 * s:.2f}l{-0.32 * s:.2f} {0.6 * s:.2f}z"
        return self.line(arc, 0.16 * s) + f'<path d="{tip}" fill="currentColor"/>'

    def slur(self, mark: Mark, x: float, y: float) -> str:
        s = self.space
        x2, y2 = self.at(mark.to)
        way = 1.0 if mark.option("side") == "below" else -1.0
        rise = way * min(max(1.3 * s, 0.13 * abs(x2 - x)), 4.5 * s)
        a, b = x + 0.25 * (x2 - x), x + 0.75 * (x2 - x)

        def arc(lift: float) -> tuple[str, str]:
            one, two = f"{a:.2f} {y + rise + lift:.2f}", f"{b:.2f} {y2 + rise + lift:.2f}"
            return f"C{one} {two} {x2:.2f} {y2:.2f}", f"C{two} {one} {x:.2f} {y:.2f}"

        if mark.value == "dashed":
            return self.line(
                f"M{x:.2f} {y:.2f}{arc(0)[0]}", 0.2 * s, f' stroke-dasharray="{0.7 * s:.2f} {0.5 * s:.2f}"'
            )
        over, _ = arc(way * 0.16 * s)
        _, back = arc(way * -0.16 * s)
        return self.line(f"M{x:.2f} {y:.2f}{over}{back}z", 0.12 * s, fill="currentColor")

    def finger(self, mark: Mark, x: float, y: float) -> str:
        return self.text(mark.value, x, y, 2.4 * self.space, weight="bold")

    def string(self, mark: Mark, x: float, y: float) -> str:
        return self.text(mark.value, x, y, 2.1 * self.space)

    def words(self, mark: Mark, x: float, y: float) -> str:
        style = mark.option("style", "italic")
        anchor = "end" if x > 0.75 * self.width else "start"
        return self.text(
            mark.value, x, y, 2.3 * self.space, weight="bold" if style == "bold" else "normal",
            style="italic" if style == "italic" else "normal", anchor=anchor,
        )  # fmt: skip

    def line(self, path: str, width: float, more: str = "", fill: str = "none") -> str:
        halo = (
            f'<path class="halo" d="{path}" fill="none" stroke="#fff" stroke-width="{width + 0.28 * self.space:.2f}" '
            'stroke-linejoin="round"/>'
        )
        return halo + (
            f'<path d="{path}" fill="{fill}" stroke="currentColor" stroke-width="{width:.2f}" '
            f'stroke-linejoin="miter"{more}/>'
        )

    def text(
        self, words: str, x: float, y: float, size: float, *, weight: str = "normal", style: str = "normal",
        anchor: str = "middle",
    ) -> str:  # fmt: skip
        # Digits and capitals of these fonts are .66 of the size high: the place is their middle.
        where = (
            f'x="{x:.2f}" y="{y + 0.33 * size:.2f}" font-size="{size:.2f}" font-weight="{weight}" '
            f'font-style="{style}" text-anchor="{anchor}"'
        )
        halo = f'class="halo" fill="#fff" stroke="#fff" stroke-width="{0.3 * self.space:.2f}" stroke-linejoin="round"'
        said = escape(words)
        return f'<text {where} {halo}>{said}</text><text {where} fill="currentColor">{said}</text>'
