"""The left hand in the browser: under the staves, guide notes, three possible fingerings, one taken and printed."""

import re

import pytest
from playwright.sync_api import expect

from lessons.assigning import assign
from lessons.models import Sheet
from lessons.sheets import sheet_pdf_bytes
from repertoire.markings import make_marking
from repertoire.models import Draft, Marking
from repertoire.technique.marks import Kind, Mark
from tests.browser.conftest import DESK, PHONE, SIZES, TABLET, eventually
from tests.repertoire.test_left_hand_pages import make_passage
from tests.technique.lines import line

pytestmark = pytest.mark.django_db(transaction=True)
# Eight bars on the viola's upper strings, four fingers written.
EIGHT = line(
    "3/4",
    "alto",
    "F4 h G4 q | A4 h C5 q | F5 h E5 q | D5 q C5 q B4 q | A4 h B4 q | C5 q D5 q E5 q | F5 h E5 q | F5 hd",
)
FOUR = tuple(Mark(Kind.FINGER, a, f) for a, f in (("b1n1", "2"), ("b3n1", "3"), ("b4n3", "1"), ("b7n1", "3")))


@pytest.fixture
def passage(teacher):
    made = make_passage(teacher, EIGHT, title="Climbing")
    make_marking(made, teacher, FOUR, name="Four fingers", origin="own")
    return made


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
@pytest.mark.parametrize("page_name", ["passage", "mark", "fingerings", "move", "hand"])
def test_every_page_fits_and_is_accessible(
    page, sign_in, teacher, student, passage, address, check_axe, check_width, size, page_name
):
    sign_in(teacher, size)
    base = f"/repertoire/passages/{passage.pk}"
    paths = {
        "passage": f"{base}?under=hand",
        "mark": f"{base}/mark?under=hand",
        "fingerings": f"{base}/fingerings",
        "move": f"{base}/move",
        "hand": f"/students/{student.pk}/hand",
    }
    page.goto(address(paths[page_name]))
    check_axe()
    check_width()


def test_in_the_dark(page, sign_in, teacher, passage, address, check_axe):
    page.emulate_media(color_scheme="dark")
    sign_in(teacher, TABLET)
    page.goto(address(f"/repertoire/passages/{passage.pk}?under=hand"))
    check_axe()
    page.goto(address(f"/repertoire/passages/{passage.pk}/fingerings"))
    check_axe()


def test_guide_notes_come_when_asked_for_and_the_line_is_not_printed(page, sign_in, teacher, passage, address):
    sign_in(teacher, DESK)
    page.goto(address(f"/repertoire/passages/{passage.pk}"))
    page.get_by_label("Under the staves").select_option("left hand")
    page.get_by_role("button", name="Show", exact=True).click()
    expect(page.get_by_role("heading", name="The left hand, one possible way")).to_be_visible()
    first = page.locator("details[id^=guide-]").first
    first.locator("summary").click()
    picture = first.locator("img.guide").first
    expect(picture).to_be_visible()
    eventually(lambda: picture.evaluate("drawn => drawn.complete && drawn.naturalWidth > 0"), page)
    strip = page.locator(".engraving .strip").first
    expect(strip).to_be_visible()
    page.emulate_media(media="print")
    expect(strip).to_be_hidden()
    page.emulate_media(media="screen")
    page.get_by_label("printed too").check()
    page.get_by_role("button", name="Show", exact=True).click()
    page.emulate_media(media="print")
    expect(page.locator(".engraving .strip").first).to_be_visible()


def test_one_of_three_is_taken_changed_kept_and_printed(page, sign_in, teacher, student, passage, address):
    sign_in(teacher, DESK)
    page.goto(address(f"/repertoire/passages/{passage.pk}"))
    page.get_by_role("link", name="Possible fingerings", exact=True).click()
    expect(page.get_by_role("heading", name="3 possibilities of different character")).to_be_visible()
    page.get_by_label("Marks to write").select_option("every finger")
    page.get_by_role("button", name="Show", exact=True).click()
    page.get_by_role("button", name="Take B into a draft").click()
    expect(page.locator("#messages")).to_contain_text("stands in the draft")
    marks = Draft.objects.get().marks["marks"]
    assert len([m for m in marks if m["kind"] == "finger"]) == 17
    page.wait_for_selector("html.scripted")
    # One finger changed by hand, then kept.
    notes = page.get_by_role("listbox", name="Notes of the passage")
    notes.focus()
    notes.press("ArrowRight")
    notes.press("4")
    expect(page.locator("#mark-bar")).to_contain_text("Keep")
    expect(page.locator("#mark-systems")).to_have_attribute("data-state", re.compile(r"\.3$"))
    page.get_by_role("link", name="Keep…").click()
    expect(page.locator(".field-words")).to_contain_text("A suggestion taken")
    page.get_by_label("Name").fill("Taken from three")
    page.get_by_role("button", name="Keep", exact=True).click()
    made = Marking.objects.get(name="Taken from three")
    assert (made.origin, made.rule_version) == ("suggested", "left hand 3")
    assert "finger 4 on G4" in made.hand_changes
    # Printed on a sheet: the marks, and the hand under them because it is asked for.
    assign(student, begun=made.created.date(), passage=passage, marking=made)
    page.goto(address(f"/students/{student.pk}/sheets/next"))
    page.get_by_label(re.compile("^Under the staves of")).select_option("left hand, completed")
    page.get_by_role("button", name="Issue and print").click()
    page.wait_for_url(re.compile("/sheets/"))
    sheet = Sheet.objects.get()
    assert [(i["marking_name"], i["under"]) for i in sheet.content["items"]] == [("Taken from three", "hand")]
    assert sheet_pdf_bytes(sheet).startswith(b"%PDF")


def test_completing_on_the_marking_page_and_undoing_it(page, sign_in, teacher, passage, address):
    sign_in(teacher, TABLET)
    page.goto(address(f"/repertoire/passages/{passage.pk}/mark?under=hand"))
    page.wait_for_selector("html.scripted")
    page.get_by_role("tab", name="Left hand").click()
    expect(page.locator("#left-hand")).to_contain_text("4 notes marked, 13 completed")
    page.get_by_label("marks", exact=True).select_option("every finger")
    page.get_by_role("button", name="Complete the fingering from what is written").click()
    expect(page.locator("#left-hand")).to_contain_text("17 notes marked, 0 completed")
    page.get_by_role("button", name="Undo: completing the fingering").click()
    expect(page.locator("#left-hand")).to_contain_text("4 notes marked, 13 completed")
    # A list that was open stays open while marks are written.
    page.locator("details[id^=guide-] summary").first.click()
    notes = page.get_by_role("listbox", name="Notes of the passage")
    notes.focus()
    notes.press("2")
    expect(page.locator("#left-hand")).to_contain_text(re.compile("[345] notes marked"))
    expect(page.locator("details[id^=guide-][open]").first).to_be_visible()


def test_the_bars_picked_go_along_to_the_possible_fingerings(page, sign_in, teacher, passage, address):
    sign_in(teacher, DESK)
    page.goto(address(f"/repertoire/passages/{passage.pk}/mark"))
    page.wait_for_selector("html.scripted")
    page.get_by_role("tab", name="Left hand").click()
    notes = page.get_by_role("listbox", name="Notes of the passage")
    notes.focus()
    for _ in range(2):
        notes.press("ArrowRight")  # the first note of bar 2
    for _ in range(3):
        notes.press("Shift+ArrowRight")  # to the second of bar 3
    page.get_by_role("link", name=re.compile("^Possible fingerings of the bars picked")).click()
    expect(page.get_by_label("Bars", exact=True)).to_have_value("2–3")
    expect(page.get_by_role("heading", name=re.compile("possibilit"))).to_be_visible()


def test_a_violin_passage_becomes_a_viola_passage(page, sign_in, teacher, address):
    violin = make_passage(
        teacher, line("4/4", "treble", "D5 q E5 q F#5 q G5 q", key=2, instrument="violin"), instrument="violin"
    )
    sign_in(teacher, PHONE)
    page.goto(address(f"/repertoire/passages/{violin.pk}"))
    page.get_by_role("link", name="For viola").click()
    page.get_by_role("button", name="Make the passage for viola").click()
    expect(page.locator("#messages")).to_contain_text("for the viola")
    expect(page.get_by_role("heading", name="For violin and viola")).to_be_visible()
    expect(page.get_by_text("for violin, a fifth higher")).to_be_visible()


def test_a_finger_that_cannot_be_is_mended_and_undone(page, sign_in, teacher, address, check_axe):
    low = make_passage(teacher, line("4/4", "alto", "C3 q D3 q E3 q F3 q"), title="On the lowest string")
    make_marking(low, teacher, (Mark(Kind.FINGER, "b1n2", "4"),), name="Behind the nut", origin="own")
    sign_in(teacher, TABLET)
    page.goto(address(f"/repertoire/passages/{low.pk}/mark"))
    page.wait_for_selector("html.scripted")
    told = page.locator("#mark-in-the-way")
    expect(told).to_contain_text("Finger 4 can’t take D3")
    check_axe()
    told.get_by_role("button", name="Write finger 1 on IV, 1st position").click()
    expect(page.locator("#mark-list")).to_contain_text("finger 1 on D3")
    expect(told).to_be_empty()
    page.get_by_role("button", name="Undo: the nearest possible").click()
    expect(told).to_contain_text("Finger 4 can’t take D3")
    # The same finger asked for on another note is refused, with the nearest on a button.
    notes = page.get_by_role("listbox", name="Notes of the passage")
    notes.focus()
    notes.press("Home")
    notes.press("4")
    offer = page.locator("#mark-refused").get_by_role("button", name="Write open IV")
    expect(offer).to_be_visible()
    offer.click()
    expect(page.locator("#mark-list")).to_contain_text("open string on C3")
    expect(page.locator("#mark-refused")).to_be_empty()
