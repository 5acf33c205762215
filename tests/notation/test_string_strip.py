"""The string crossings drawn under a stave of open strings: which lines, where the bow is, and how it goes over."""

from __future__ import annotations

import re

import pytest

from repertoire.notation.picture import Picture, StaffPlace, System
from repertoire.notation.string_strip import string_strip, with_crossings
from tests.technique.lines import line, marks


def system(music, **more) -> System:
    """A system 100 mm wide with a head every 10 mm, from 10."""
    places = {e.address: (10.0 * n, 5.0) for n, e in enumerate(music.events, 1)}
    return System("<g/>", 100.0, 20.0, places, (StaffPlace(5, 13, 2, 96),), {1: (2.0, 96.0)}, **more)


def paths(drawing: str, width: str) -> list[str]:
    return re.findall(rf'<path d="([^"]*)" stroke="currentColor" stroke-width="{width}"', drawing)


def test_a_line_for_each_string_between_the_lowest_and_the_highest_that_are_played():
    """G and A on the viola: D lies between them and has its line. From above 1.6, 4.2, 6.8 mm. [definition]"""
    music = line("2/4", "alto", "G3 q A4 q")
    strip = string_strip(music, (), system(music))
    assert re.findall(r">([A-G])</text>", strip.drawing) == ["G", "D", "A"]
    assert paths(strip.drawing, "0.12") == ["M9.00 6.80H96.00", "M9.00 4.20H96.00", "M9.00 1.60H96.00"]
    assert strip.height_mm == pytest.approx(8.2)
    assert strip.words == "Strings in order: G, A."


def test_the_bow_stays_on_its_string_to_the_next_note_and_goes_over_whole_inside_a_slur():
    music = line("4/4", "alto", "D4 q D4 q A4 q D4 q")
    drawing = string_strip(music, marks("slur b1n1 b1n3"), system(music)).drawing
    assert paths(drawing, "0.75") == [
        "M10.00 4.20H20.00",
        "M20.00 4.20H28.40",
        "M30.00 1.60H38.40",
        "M40.00 4.20H94.40",
    ]
    assert paths(drawing, "0.35") == ["M28.40 4.20L30.00 1.60", "M38.40 1.60L40.00 4.20"]
    assert len(re.findall("stroke-dasharray", drawing)) == 1  # the second is a change of bow


def test_a_rest_ends_the_line_and_nothing_leads_over_it():
    music = line("3/4", "alto", "D4 q r q A4 q")
    drawing = string_strip(music, (), system(music)).drawing
    assert paths(drawing, "0.75") == ["M10.00 4.20H18.40", "M30.00 1.60H94.40"]
    assert paths(drawing, "0.35") == []


def test_on_one_string_there_is_nothing_to_draw():
    music = line("2/4", "alto", "D4 q D4 q")
    before = Picture((system(music),))
    assert with_crossings(music, (), before) == before
    crossing = line("2/4", "alto", "D4 q A4 q")
    assert with_crossings(crossing, (), Picture((system(crossing),))).systems[0].height_mm == pytest.approx(26.4)
