"""Shapes joined for paper: glyphs stay where and as they were, lines of one thickness become one path."""

import re

from lxml import etree

from repertoire.notation.ink import Shape
from repertoire.notation.printing_ink import PrintingInk

SQUARE = "M100 200h50v-50h-50zM0 0l10 20z"  # a music font's way: steps, and a move after each closed contour


def drawn(*shapes, **given):
    ink = PrintingInk({"E000": SQUARE})
    for shape in shapes:
        ink.add(shape, **({"colour": "", "dx": 0, "dy": 0, "bold": 0} | given))
    return etree.fromstring(f"<svg>{ink.svg()}</svg>")


def corners(path: str) -> list[tuple[float, float]]:
    """The corners a path passes, from its commands M, m, h, v, l, z."""
    at, start, found = (0.0, 0.0), (0.0, 0.0), []
    for command, told in re.findall(r"([Mmhvlz])([^Mmhvlz]*)", path):
        numbers = [float(n) for n in re.findall(r"-?[\d.]+", told)]
        if command == "M":
            at = start = (numbers[0], numbers[1])
        elif command == "m":
            at = start = (at[0] + numbers[0], at[1] + numbers[1])
        elif command == "z":
            at = start
        else:
            step = {"h": (*numbers, 0), "v": (0, *numbers), "l": tuple(numbers)}[command]
            at = (at[0] + step[0], at[1] + step[1])
        if command != "z":
            found.append(at)
    return found


def test_a_glyph_is_scaled_and_turned_upright_where_it_stood():
    # Half the size at (1000, 500), y downwards: x is 1000 + x/2, y is 500 - y/2. [A]
    (path,) = drawn(Shape("glyph", "E000", 1000, 500, 0.5))
    assert corners(path.get("d")) == [(1050, 400), (1075, 400), (1075, 425), (1050, 425), (1000, 500), (1005, 490)]


def test_a_moved_glyph_moves_and_all_of_one_ink_are_one_path():
    glyphs = [Shape("glyph", "E000", x, 0, 1) for x in (0, 500)]
    (path,) = drawn(*glyphs, dx=30, dy=-20, colour="#6b6b6b")
    assert (path.get("fill"), path.get("d").count("M")) == ("#6b6b6b", 2)
    assert corners(path.get("d"))[0] == (130, -220)


def test_lines_go_together_by_thickness_and_what_is_hollow_stays_so():
    lines = [Shape("path", f"M0 {y} L90 {y}", width=w, filled=False) for y, w in ((0, 13), (180, 13), (0, 18))]
    thin, thick = drawn(*lines)
    assert (thin.get("d"), thin.get("stroke-width"), thin.get("fill")) == ("M0 0 L90 0 M0 180 L90 180", "13", "none")
    assert thick.get("stroke-width") == "18"


def test_words_dashes_and_moved_lines_stay_by_themselves():
    words, dashed = Shape("text", "dolce", 1, 2, 300), Shape("path", "M0 0 L9 9", width=9, dash="5 5")
    found = drawn(words, dashed, Shape("path", "M0 0 L9 9", width=9), dx=5, dy=0)
    assert [each.get("transform") for each in found] == ["translate(5 0)"] * 3


def test_an_outline_drawn_in_another_way_is_left_as_it_is():
    ink = PrintingInk({"E001": "M0 0C1 1 2 2 3 3z"})
    ink.add(Shape("glyph", "E001", 7, 8, 1), colour="", dx=0, dy=0, bold=0)
    assert 'd="M0 0C1 1 2 2 3 3z" transform="translate(7 8) scale(1 -1)"' in ink.svg()
