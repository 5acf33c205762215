"""From a file to a passage in the browser, and picking bars by touch, by keys and in writing."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from repertoire.bounds import read_bounds
from repertoire.importing import make_passage
from repertoire.markings import make_marking, printed_marking
from repertoire.models import Passage
from repertoire.technique.marks import Kind, Mark
from tests.browser.conftest import SIZES, TABLET
from tests.repertoire.music import first_movement, score

pytestmark = pytest.mark.django_db(transaction=True)
# A stave of 8 mm fills its column: 26 px is the least at which it is read without effort.
STAVE = "svg => 8 * svg.getBoundingClientRect().width / svg.viewBox.baseVal.width"


@pytest.fixture
def movement(teacher):
    return first_movement(teacher)


@pytest.fixture
def at_movement(sign_in, teacher, movement, address):
    page = sign_in(teacher, TABLET)
    page.goto(address(f"/repertoire/movements/{movement.pk}"))
    expect(page.locator("#movement-bars")).to_have_attribute("data-screen", "tablet")
    page.wait_for_load_state("networkidle")
    return page


def bar(page, number):
    return page.get_by_role("button", name=f"bar {number}", exact=True)


def expect_pressed(page, bars):
    pressed = page.locator(".pick[aria-pressed=true]")
    expect(pressed).to_have_count(len(bars))
    for place, bar in enumerate(bars):
        expect(pressed.nth(place)).to_have_attribute("data-bar", str(bar))


def test_from_a_file_to_a_passage(sign_in, teacher, address, tmp_path):
    file = tmp_path / "two.musicxml"
    file.write_bytes(score())
    page = sign_in(teacher, TABLET)
    page.goto(address("/repertoire/import"))
    page.get_by_label("MusicXML or ABC file").set_input_files(file)
    page.get_by_role("button", name="See what is in it").click()
    expect(page.get_by_role("radio", name="Viola")).to_be_checked()
    page.get_by_role("button", name="Read this part").click()
    page.get_by_role("link", name="Pick a passage in Movement 1").click()
    expect(page.locator("#movement-bars")).to_have_attribute("data-screen", "tablet")
    page.wait_for_load_state("networkidle")
    bar(page, 2).click()
    bar(page, 4).click()
    page.get_by_role("button", name="Make a passage").click()
    page.get_by_label("Title").fill("Second entry")
    page.get_by_role("button", name="Keep this passage").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Second entry")
    passage = Passage.objects.get()
    assert (passage.start_bar, passage.end_bar, passage.title) == (2, 4, "Second entry")


def test_picking_by_touch_and_by_keys(at_movement):
    page = at_movement
    bar(page, 5).click()
    bar(page, 2).click()
    expect(page.locator("#bars")).to_have_value("2–5")
    expect_pressed(page, [2, 3, 4, 5])
    expect(page.locator("#status")).to_have_text("From 2 to 5")
    page.get_by_role("button", name="Clear").click()
    expect_pressed(page, [])
    bar(page, 1).focus()
    for key in ("ArrowRight", "Enter", "ArrowRight", "ArrowRight", "Enter"):
        page.keyboard.press(key)
    expect(page.locator("#bars")).to_have_value("2–4")
    page.locator("#bars").fill("3–6")
    expect_pressed(page, [3, 4, 5, 6])


def test_picking_beats(at_movement):
    page = at_movement
    page.get_by_role("radio", name="beats").check()
    # The places of the third beat of bar 2 and the second of bar 3, as the page tells them.
    for number, beat in ((2, "3"), (3, "2")):
        button = bar(page, number)
        places = dict(pair.split(":") for pair in button.get_attribute("data-beats").split())
        box = button.bounding_box()
        page.mouse.click(box["x"] + box["width"] * float(places[beat]) / 100, box["y"] + box["height"] / 2)
    expect(page.locator("#bars")).to_have_value("2/3–3/2")


def test_turning_the_tablet_keeps_what_was_picked(at_movement):
    page = at_movement
    bar(page, 2).click()
    bar(page, 4).click()
    page.set_viewport_size({"width": 1180, "height": 820})
    expect(page.locator("#movement-bars")).to_have_attribute("data-screen", "desktop")
    page.wait_for_url("**bars=**")
    page.wait_for_load_state("networkidle")
    expect(page.locator("#bars")).to_have_value("2–4")
    expect_pressed(page, [2, 3, 4])


@pytest.mark.parametrize("size", SIZES)
def test_every_page_fits_and_can_be_used_by_everyone(size, sign_in, teacher, movement, address, check_axe, check_width):
    passage = make_passage(movement, teacher, read_bounds("2–4", None, 8), title="Second entry")
    printed_marking(passage, teacher)
    marks = (Mark(Kind.FINGER, "b2n1", "1"), Mark(Kind.BOW, "b3n1", "up"))
    make_marking(passage, teacher, marks, name="First position", origin="own", reason="small hand")
    piece, part = movement.revision.part.piece_id, movement.revision.part_id
    page = sign_in(teacher, SIZES[size])
    for path in (
        "/repertoire/",
        "/repertoire/new",
        "/repertoire/import",
        f"/repertoire/pieces/{piece}",
        f"/repertoire/parts/{part}",
        f"/repertoire/movements/{movement.pk}",
        f"/repertoire/movements/{movement.pk}/passages/new?bars=2–4",
        f"/repertoire/passages/{passage.pk}",
        f"/repertoire/passages/{passage.pk}/extend",
        f"/repertoire/passages/{passage.pk}/elsewhere",
    ):
        page.goto(address(path))
        page.wait_for_load_state("networkidle")
        check_axe()
        check_width()
        if page.locator(".engraving").count():
            assert page.locator(".engraving").first.evaluate(STAVE) >= 26, path


def test_two_or_three_markings_are_compared(sign_in, teacher, movement, address):
    passage = make_passage(movement, teacher, read_bounds("2–4", None, 8), title="Second entry")
    printed_marking(passage, teacher)
    for name in ("First", "Second", "Third"):
        make_marking(passage, teacher, (Mark(Kind.FINGER, "b2n1", "1"),), name=name, origin="own")
    page = sign_in(teacher, TABLET)
    page.goto(address(f"/repertoire/passages/{passage.pk}"))
    compare = page.get_by_role("button", name="Compare two or three")
    expect(compare).to_be_disabled()
    for name in ("First", "Second"):
        page.get_by_role("checkbox", name=f"Compare {name}").check()
    expect(compare).to_be_enabled()
    for name in ("Third", "As printed"):
        page.get_by_role("checkbox", name=f"Compare {name}").check()
    expect(compare).to_be_disabled()
    page.get_by_role("checkbox", name="Compare As printed").uncheck()
    compare.click()
    page.wait_for_url(f"**/passages/{passage.pk}/compare?marking=*")
