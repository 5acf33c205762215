"""A picture with signs as a drawing: its size, what stands in it, what is said of it."""

from xml.etree import ElementTree

import pytest

from repertoire.notation.picture_signs import draw
from repertoire.technique.marks import Kind, Mark
from repertoire.technique.picture_marks import Paper

PAPER = Paper(1600, 700, ((200, 280), (450, 530)))
SIGNS = (
    Mark(Kind.BOW, "x0.1000y0.2000", "down"),
    Mark(Kind.BOW, "x0.2000y0.2000", "up"),
    Mark(Kind.RETAKE, "x0.3000y0.2000"),
    Mark(Kind.FINGER, "x0.4000y0.2000", "2-1"),
    Mark(Kind.STRING, "x0.5000y0.2000", "III"),
    Mark(Kind.SLUR, "x0.1000y0.3500", "", "x0.3000y0.3500"),
    Mark(Kind.SLUR, "x0.5000y0.8000", "dashed", "x0.7000y0.8000", (("side", "below"),)),
    Mark(Kind.TEXT, "x0.8000y0.1000", "a < b & c", options=(("style", "bold"),)),
)
SVG = "{http://www.w3.org/2000/svg}"


def test_every_sign_is_drawn_once():
    system = draw("data:image/png;base64,AAAA", PAPER, SIGNS, width_mm=160).systems[0]
    assert (system.width_mm, system.height_mm) == (160, 70.0)
    root = ElementTree.fromstring(system.svg)
    assert len(root.findall(f".//{SVG}g[@class='mark-own']")) == 8
    words = [t.text for t in root.iter(f"{SVG}text") if t.get("class") != "halo"]
    assert words == ["2-1", "III", "a < b & c"]
    assert [i.get("href") for i in root.iter(f"{SVG}image")] == ["data:image/png;base64,AAAA"]


def test_signs_stand_where_they_were_placed():
    root = ElementTree.fromstring(draw("", PAPER, SIGNS[3:4], width_mm=160).systems[0].svg)
    text = next(t for t in root.iter(f"{SVG}text") if t.get("class") != "halo")
    assert float(text.get("x")) == pytest.approx(64.0)
    # The staff space is 2 mm, the digit 2.4 spaces: its foot lies .33 of 4.8 mm below the place [A].
    assert float(text.get("y")) == pytest.approx(14.0 + 0.33 * 4.8, abs=0.01)


def test_a_sign_at_the_edge_finds_room():
    system = draw("x", PAPER, (Mark(Kind.FINGER, "x0.5000y0.0000", "1"),), width_mm=160).systems[0]
    # 1.6 spaces of 2 mm above the picture's 70 mm [A].
    assert system.height_mm == pytest.approx(73.2)
    bare = draw("x", PAPER, (Mark(Kind.FINGER, "x0.5000y0.0000", "1"),), width_mm=160, image=False).systems[0]
    assert bare.height_mm == pytest.approx(70.0)


def test_what_is_said_of_a_picture():
    assert draw("x", PAPER, (), width_mm=160).label == "Picture of the printed music"
    assert draw("x", PAPER, SIGNS[:2], width_mm=160).label == (
        "Picture of the printed music with 2 signs: stave 1, 10 % across, above: down-bow; "
        "stave 1, 20 % across, above: up-bow"
    )


def test_rings_stand_round_the_chosen_signs_alone():
    drawn = draw("x", PAPER, SIGNS, width_mm=160, ringed=SIGNS[:2]).systems[0].svg
    assert drawn.count('class="differs"') == 2


def test_the_teachers_ink_is_for_the_screen():
    assert "#8a1c3b" in draw("x", PAPER, SIGNS, width_mm=160).systems[0].svg
    assert "#8a1c3b" not in draw("x", PAPER, SIGNS, width_mm=160, screen=False).systems[0].svg
