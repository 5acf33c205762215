"""Marking a passage in the browser: keys, touch, undo, refusal, keeping; and what a screen reader hears."""

import re

import pytest
from playwright.sync_api import Page, expect

from repertoire.models import Draft, Marking
from repertoire.technique.marks import Kind, Mark, load
from tests.browser.conftest import DESK, PHONE, TABLET
from tests.repertoire.marking_passages import make_passage

SCREENS = {390: "phone", 820: "tablet", 1280: "desktop"}
pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def passage(teacher):
    return make_passage(teacher)


@pytest.fixture
def open_page(page, sign_in, teacher, passage, address):
    def at(size) -> Page:
        sign_in(teacher, size)
        page.goto(address(f"/repertoire/passages/{passage.pk}/mark"))
        page.wait_for_selector("html.scripted")  # keys pressed before that are lost
        # The first picture is drawn for a guessed width and then for the window's own.
        expect(page.locator("#mark-systems")).to_have_attribute("data-screen", SCREENS[size["width"]])
        return page

    return at


def drafted():
    return load(Draft.objects.get().marks)


def expect_picked(page, addresses):
    picked = page.locator("[role=option][aria-selected=true]")
    expect(picked).to_have_count(len(addresses))
    for place, address in enumerate(addresses):
        expect(picked.nth(place)).to_have_attribute("data-address", address)


def tap(page, note):
    """Touch a note where it lies on the screen."""
    place = page.locator(f"#pick-{note}")
    place.evaluate("each => each.scrollIntoView({ block: 'nearest', behavior: 'instant' })")
    box = place.bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)


def settled(page, words):
    expect(page.locator("#mark-list")).to_contain_text(words)


def test_by_keys(open_page):
    page = open_page(DESK)
    notes = page.get_by_role("listbox", name="Notes of the passage")
    notes.focus()
    expect_picked(page, ["b1n1"])
    page.keyboard.press("u")
    settled(page, "up-bow on G3")
    expect(notes).to_be_focused()
    expect_picked(page, ["b1n1"])
    page.keyboard.press("ArrowRight")
    page.keyboard.press("1")
    settled(page, "finger 1 on A3")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowRight")
    expect_picked(page, ["b1n3", "b1n4"])
    page.keyboard.press("(")
    settled(page, "beat 3 to beat 4: slur")
    page.keyboard.press("Control+z")
    expect(page.locator("#mark-list")).not_to_contain_text("beat 3 to beat 4: slur")
    page.keyboard.press("Control+y")
    settled(page, "beat 3 to beat 4: slur")
    page.keyboard.press("Home")
    page.keyboard.press("Delete")
    expect(page.locator("#mark-list")).not_to_contain_text("up-bow on G3")
    expect(notes).to_be_focused()
    assert {Mark(Kind.FINGER, "b1n2", "1"), Mark(Kind.SLUR, "b1n3", "", "b1n4")} == set(drafted())


def test_within_a_chord_by_keys(open_page):
    page = open_page(DESK)
    page.get_by_role("listbox").focus()
    for _ in range(4):
        page.keyboard.press("ArrowRight")
    expect_picked(page, ["b2n1p1"])
    page.keyboard.press("ArrowUp")
    page.keyboard.press("ArrowUp")
    expect_picked(page, ["b2n1p3"])
    page.keyboard.press("1")
    settled(page, "finger 1 on E4")


def test_what_is_heard(open_page):
    page = open_page(DESK)
    notes = page.get_by_role("listbox")
    notes.focus()
    page.keyboard.press("ArrowRight")
    active = notes.get_attribute("aria-activedescendant")
    expect(page.locator(f"#{active}")).to_have_text("bar 1, second note, A3, slur ends")
    page.keyboard.press("v")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("2")
    expect(page.locator("#status")).to_have_text("bar 1, third note, B3, finger 2")


@pytest.mark.parametrize("size", [PHONE, TABLET], ids=["phone", "tablet"])
def test_by_touch_a_span_in_two_taps_without_dragging(open_page, size):
    page = open_page(size)
    tap(page, "b1n1")
    expect_picked(page, ["b1n1"])
    page.get_by_role("button", name="From here to…").click()
    tap(page, "b1n4")
    expect_picked(page, ["b1n1", "b1n2", "b1n3", "b1n4"])
    page.get_by_role("button", name="slur", exact=True).click()
    settled(page, "beat 1 to beat 4: slur")
    expect(page.get_by_role("button", name="slur", exact=True)).to_have_attribute("aria-pressed", "true")
    page.get_by_role("tab", name="Left hand").click()
    tap(page, "b1n3")
    page.get_by_role("button", name="2", exact=True).click()
    settled(page, "finger 2 on B3")
    assert Mark(Kind.FINGER, "b1n3", "2") in drafted()


def test_a_slide_in_one_tap_and_away_again(open_page):
    page = open_page(TABLET)
    page.get_by_role("tab", name="Left hand").click()
    row = page.get_by_role("group", name="From note to note, one picked: to the next")
    slide = row.get_by_role("button", name="slide, starting finger")
    tap(page, "b1n2")
    wide = slide.evaluate("each => each.offsetWidth")
    slide.click()
    settled(page, "beat 2 to beat 3: slide on the starting finger")
    expect(slide).to_have_attribute("aria-pressed", "true")
    assert slide.evaluate("each => each.offsetWidth") == wide  # what is tapped next stays where it is
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("#mark-list")).not_to_contain_text("slide")
    expect_picked(page, ["b1n2"])


def test_on_a_tablet_every_sign_is_in_view_and_on_a_phone_more_than_half_is_left_to_the_music(open_page):
    page = open_page(TABLET)
    for tab in page.get_by_role("tab").all():
        tab.click()
        group = page.get_by_role("tabpanel")
        hidden = group.evaluate("each => each.scrollHeight - each.clientHeight")
        assert hidden == 0, (tab.inner_text(), hidden)
        assert page.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0
    page.set_viewport_size(PHONE)
    expect(page.locator("#mark-systems")).to_have_attribute("data-screen", "phone")
    high = "each => each.getBoundingClientRect().height / window.innerHeight"
    assert page.locator("[data-tools]").evaluate(high) < 0.42
    below = "each => (each.getBoundingClientRect().top + window.scrollY) / window.innerHeight"
    assert page.locator(".marking-picture").evaluate(below) < 0.27


def test_the_selected_note_is_never_behind_the_signs(open_page):
    page = open_page(PHONE)
    for note in ("b1n1", "b2n3"):
        page.get_by_role("listbox").focus()
        page.keyboard.press("Home" if note == "b1n1" else "End")
        page.wait_for_timeout(500)
        note_box = page.locator(f"#pick-{note}").bounding_box()
        tools = page.locator("[data-tools]").bounding_box()
        assert note_box["y"] >= 0
        assert note_box["y"] + note_box["height"] <= tools["y"]


def test_every_sign_is_large_enough_for_a_thumb(open_page):
    page = open_page(PHONE)
    small = []
    for tab in page.get_by_role("tab").all():
        tab.click()
        for button in page.locator(".marking-tools button:visible, .marking-tools summary:visible").all():
            box = button.bounding_box()
            if box["height"] < 44 or box["width"] < 44:
                small.append((button.inner_text(), box["width"], box["height"]))
    assert small == []


def test_a_refused_mark_says_why_and_loses_nothing(open_page):
    page = open_page(TABLET)
    tap(page, "b1n3")
    page.get_by_role("button", name="up-bow").click()
    settled(page, "up-bow on B3")
    before = drafted()
    page.get_by_role("tab", name="Left hand").click()
    page.get_by_role("button", name="I", exact=True).click()
    expect(page.get_by_role("alert")).to_contain_text("Bar 1, beat 3")
    assert drafted() == before
    expect_picked(page, ["b1n3"])
    page.get_by_role("button", name="2", exact=True).click()
    settled(page, "finger 2 on B3")
    expect(page.get_by_role("alert")).to_be_empty()


def test_fast_keys_are_all_written_in_order(open_page):
    page = open_page(DESK)
    page.get_by_role("listbox").focus()
    for key in ["0", "ArrowRight", "1", "ArrowRight", "2", "ArrowRight", "3"]:
        page.keyboard.press(key)
    settled(page, "finger 3 on C4")
    assert [m.value for m in drafted() if m.kind is Kind.FINGER] == ["0", "1", "2", "3"]


def test_what_does_not_reach_the_studio_waits_and_is_sent_again(open_page, watch):
    watch.expect("ERR_FAILED")
    page = open_page(DESK)
    page.get_by_role("listbox").focus()
    page.route("**/mark/change", lambda route: route.abort())
    page.keyboard.press("u")
    expect(page.get_by_role("alert")).to_contain_text("One change has not reached the studio")
    page.keyboard.press("1")
    expect(page.get_by_role("alert")).to_contain_text("2 changes have not reached the studio")
    page.unroute("**/mark/change")
    page.get_by_role("button", name="Send again").click()
    settled(page, "finger 1 on G3")
    assert {Mark(Kind.BOW, "b1n1", "up"), Mark(Kind.FINGER, "b1n1", "1")} <= set(drafted())


def test_two_open_pages_notice_each_other(open_page, page, watch, address, passage):
    watch.expect("status of 409")
    open_page(DESK)
    other = page.context.new_page()
    other.goto(address(f"/repertoire/passages/{passage.pk}/mark"))
    page.get_by_role("listbox").focus()
    page.keyboard.press("u")
    settled(page, "up-bow on G3")
    other.get_by_role("listbox").focus()
    other.keyboard.press("1")
    expect(other.get_by_role("alert")).to_contain_text("changed on another page")
    other.get_by_role("link", name="Open the draft again").click()
    settled(other, "up-bow on G3")
    assert Mark(Kind.FINGER, "b1n1", "1") not in drafted()
    other.close()


def test_words_typed_and_entered(open_page):
    page = open_page(TABLET)
    tap(page, "b1n1")
    page.get_by_role("tab", name="Words").click()
    page.get_by_label("words", exact=True).fill("like a bell")
    page.keyboard.press("Enter")
    settled(page, "“like a bell” on G3")
    expect(page.get_by_label("words", exact=True)).to_have_value("")


def test_removing_from_the_list_keeps_the_place(open_page):
    page = open_page(TABLET)
    page.get_by_role("button", name=re.compile("^Remove: .*slur")).click()
    expect(page.locator("#mark-list")).not_to_contain_text("slur")
    page.get_by_role("button", name=re.compile("^Undo")).click()
    settled(page, "slur")


def test_keeping_puts_it_in_the_list(open_page, check_axe, passage):
    page = open_page(TABLET)
    tap(page, "b1n3")
    page.get_by_role("button", name="up-bow").click()
    settled(page, "up-bow on B3")
    page.get_by_role("link", name="Keep…").click()
    expect(page.locator(".changes")).to_contain_text("up-bow on B3, added")
    check_axe()
    page.get_by_label("Name").fill("Lighter")
    page.get_by_label("Why").fill("for a small bow")
    page.get_by_role("button", name="Keep", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Lighter")
    check_axe()
    page.get_by_role("link", name="Opening").click()
    expect(page.get_by_role("main")).to_contain_text("Lighter")
    assert Marking.objects.get(name="Lighter").parent.origin == "printed"


def test_without_script(browser, client_of, teacher, passage, live_server):
    context = browser.new_context(java_script_enabled=False)
    session = client_of(teacher).cookies["sessionid"].value
    context.add_cookies([{"name": "sessionid", "value": session, "url": live_server.url}])
    page = context.new_page()
    page.goto(f"{live_server.url}/repertoire/passages/{passage.pk}/mark")
    page.get_by_label("Note", exact=True).select_option("b1n3")
    page.locator("#mark-last").select_option("b1n4")
    page.get_by_role("button", name="slur", exact=True).click()
    settled(page, "beat 3 to beat 4: slur")
    expect(page.get_by_label("Note", exact=True)).to_have_value("b1n3")
    page.get_by_role("button", name=re.compile("^Undo")).click()
    expect(page.locator("#mark-list")).not_to_contain_text("beat 3 to beat 4: slur")
    context.close()


@pytest.mark.parametrize("size", [PHONE, TABLET, DESK], ids=["phone", "tablet", "desk"])
def test_the_pages_are_open_to_everyone(open_page, check_axe, check_width, address, passage, size, student):
    page = open_page(size)
    tap(page, "b2n1p2")
    check_width()
    for tab in page.get_by_role("tab").all():
        tab.click()
        check_axe()
    page.get_by_role("tab", name="Bow").click()
    tap(page, "b1n3")
    page.get_by_role("button", name="up-bow").click()
    settled(page, "up-bow on B3")
    page.goto(address(f"/repertoire/passages/{passage.pk}/mark/keep"))
    page.get_by_label("Name").fill("Lighter")
    page.get_by_role("button", name="Keep", exact=True).click()
    for path in ("compare", "combine", "mark?from=blank"):
        page.goto(address(f"/repertoire/passages/{passage.pk}/{path}"))
        check_axe()
        check_width()


@pytest.mark.parametrize("size", [PHONE, DESK])
def test_undo_and_keep_stay_where_they_are(open_page, size):
    page = open_page(size)

    def place() -> dict[str, float]:
        return page.get_by_role("button", name="Undo").bounding_box()

    before = place()
    for group in ("Left hand", "Words and ornaments", "Bow"):
        page.get_by_role("tab", name=group).click()
        assert place() == before
    tools = page.locator("[data-tools]").bounding_box()
    assert tools["height"] <= 0.47 * page.viewport_size["height"]


def test_keys_that_write_nothing_say_so(open_page):
    page = open_page(DESK)
    page.get_by_role("listbox", name="Notes of the passage").focus()
    page.keyboard.press("[")
    expect(page.locator("#status")).to_have_text("( writes a slur.")
    page.keyboard.press("7")
    expect(page.locator("#status")).to_have_text("Fingers are 0 to 4.")
    expect(page.get_by_role("button", name="Undo")).to_be_disabled()
