"""Typing eight bars in the browser, with the picture beside them; then marked, assigned and printed."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from lessons.assigning import assign
from repertoire.models import Marking, Part, Passage
from repertoire.technique.marks import Kind, Mark, load
from tests.browser.conftest import DESK, PHONE, SIZES, TABLET

pytestmark = pytest.mark.django_db(transaction=True)

# Eight bars of our own, with bows, slurs and three fingers.
HEAD = "M:3/4\nL:1/8\nK:G clef=alto\n"
EIGHT = (
    "v(GA B)c d2|u(e>d c)B A2|v!1!(Bc d)e f2|!4!g6|\n"
    "u(ag f)e d2|v(e>f g)e c2|u(BA G)!3!^F A2|vG6|]"
)  # fmt: skip
# Two keystrokes a second is slow for anyone who types; two minutes of them.
TWO_MINUTES = 240


@pytest.fixture
def at_typing(sign_in, teacher, address):
    def at(size) -> Page:
        page = sign_in(teacher, size)
        page.goto(address("/repertoire/type"))
        page.wait_for_load_state("networkidle")
        return page

    return at


def write(page, text):
    """Type a text over what stands in the box, key by key."""
    page.locator("#id_text").press("Control+a")
    page.locator("#id_text").press_sequentially(text)


def shown(page):
    return page.locator("#abc-summary")


def test_eight_bars_are_typed_marked_assigned_and_printed(at_typing, teacher, student, address):
    page = at_typing(DESK)
    assert len(EIGHT) < TWO_MINUTES - len(HEAD)
    write(page, HEAD + EIGHT)
    expect(shown(page)).to_have_text("8 bars")
    expect(page.locator("#typed-b1n1")).to_have_attribute("aria-label", re.compile("G4.*down-bow"))
    expect(page.locator("#typed-b8n1")).to_be_visible()
    page.get_by_label("Title").fill("By the mill")
    page.get_by_role("button", name="Keep this piece").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("By the mill")
    passage = Passage.objects.get()
    assert (passage.bars, passage.movement.revision.part.instrument) == ("1–8", "viola")

    page.goto(address(f"/repertoire/passages/{passage.pk}/mark"))
    page.wait_for_selector("html.scripted")
    page.wait_for_load_state("networkidle")
    page.get_by_role("listbox").focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("2")
    expect(page.locator("#mark-list")).to_contain_text("finger 2 on A4")
    page.goto(address(f"/repertoire/passages/{passage.pk}/mark/keep"))
    page.get_by_label("Name").fill("Second finger")
    page.locator("main button.primary").click()
    marking = Marking.objects.get(name="Second finger")
    assert Mark(Kind.FINGER, "b1n2", "2") in load(marking.marks)
    assert Mark(Kind.BOW, "b1n1", "down") in load(marking.marks)

    assign(student, begun=student.created.date(), passage=passage, marking=marking)
    page.goto(address(f"/students/{student.pk}/sheets/next"))
    page.get_by_role("button", name=re.compile("^Print|^Issue|sheet", re.I)).first.click()
    page.wait_for_url("**/sheets/*")
    pdf = page.request.get(f"{page.url}/pdf")
    assert pdf.status == 200
    assert pdf.body()[:5] == b"%PDF-"


def test_from_a_remark_to_its_place(at_typing):
    page = at_typing(DESK)
    write(page, "M:3/4\nL:1/8\nK:G\nG6|\nA2 k2 B2|")
    expect(page.locator(".abc-wrong li")).to_have_text(["line 5, column 4 (bar 2): “k” has no meaning in the music."])
    page.get_by_role("link", name="line 5, column 4").click()
    expect(page.locator("#id_text")).to_be_focused()
    chosen = "t => t.value.slice(t.selectionStart, t.selectionEnd)"
    assert page.locator("#id_text").evaluate(chosen) == "k"
    page.keyboard.type("c")
    expect(page.locator(".abc-wrong")).to_have_count(0)
    expect(shown(page)).to_have_text("2 bars")


def test_what_was_typed_is_kept_in_the_browser_until_it_is_stored(at_typing, address):
    page = at_typing(TABLET)
    write(page, HEAD + "G6|A6|B6|")
    expect(shown(page)).to_have_text("3 bars")
    page.goto(address("/repertoire/"))
    page.goto(address("/repertoire/type"))
    expect(page.locator("#abc-restored")).to_be_visible()
    expect(page.locator("#id_text")).to_have_value(HEAD + "G6|A6|B6|")
    expect(shown(page)).to_have_text("3 bars")
    page.get_by_label("Title").fill("Three bars")
    page.get_by_role("button", name="Keep this piece").click()
    page.wait_for_url("**/passages/*")
    page.goto(address("/repertoire/type"))
    page.wait_for_load_state("networkidle")
    expect(page.locator("#abc-restored")).to_be_hidden()
    expect(page.locator("#id_text")).to_have_value("M:4/4\nL:1/8\nK:C clef=alto\n")


def test_the_clef_follows_the_instrument_until_something_is_typed(at_typing):
    page = at_typing(TABLET)
    page.get_by_label("Instrument").select_option("violin")
    expect(page.locator("#id_text")).to_have_value("M:4/4\nL:1/8\nK:C\n")
    page.get_by_label("Instrument").select_option("viola")
    expect(page.locator("#id_text")).to_have_value("M:4/4\nL:1/8\nK:C clef=alto\n")
    write(page, HEAD + "G6|")
    page.get_by_label("Instrument").select_option("violin")
    expect(page.locator("#id_text")).to_have_value(HEAD + "G6|")


def test_beginning_afresh(at_typing, address):
    page = at_typing(TABLET)
    write(page, HEAD + "G6|")
    expect(shown(page)).to_have_text("1 bar")
    page.reload()
    page.get_by_role("button", name="Begin afresh").click()
    expect(page.locator("#id_text")).to_have_value("M:4/4\nL:1/8\nK:C clef=alto\n")
    expect(shown(page)).to_have_text("No notes yet")


def test_a_refused_text_stays_in_the_box(at_typing):
    page = at_typing(PHONE)
    write(page, HEAD + "G6|A2 q2|")
    page.get_by_label("Title").fill("Not yet")
    page.get_by_role("button", name="Keep this piece").click()
    expect(page.locator(".errorlist").first).to_contain_text("line 4, column 7")
    expect(page.locator("#id_text")).to_have_value(HEAD + "G6|A2 q2|")
    expect(page.locator("#abc-restored")).to_be_hidden()
    assert not Part.objects.exists()


@pytest.mark.parametrize("size", SIZES)
def test_the_page_fits_and_can_be_used_by_everyone(size, at_typing, check_axe, check_width):
    page = at_typing(SIZES[size])
    write(page, HEAD + EIGHT + " A2 k2 !5!B2|")
    expect(page.locator(".abc-wrong li")).to_have_count(1)
    page.wait_for_load_state("networkidle")
    check_axe()
    check_width()
    height = page.locator("#abc-preview .engraving").first.evaluate(
        "svg => 8 * svg.getBoundingClientRect().width / svg.viewBox.baseVal.width"
    )
    assert height >= 26


def test_without_a_script_the_preview_is_a_button(browser, live_server, client_of, teacher, settings):
    context = browser.new_context(java_script_enabled=False)
    session = client_of(teacher).cookies[settings.SESSION_COOKIE_NAME].value
    context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": live_server.url}])
    page = context.new_page()
    page.goto(f"{live_server.url}/repertoire/type")
    page.locator("#id_text").fill(HEAD + "G6|A6|")
    page.get_by_role("button", name="Preview").click()
    expect(shown(page)).to_have_text("2 bars")
    expect(page.locator("#typed-b2n1")).to_be_attached()
    page.get_by_label("Title").fill("Two bars")
    page.get_by_role("button", name="Keep this piece").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Two bars")
    context.close()
