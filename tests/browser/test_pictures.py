"""From a scan to a printed sheet in the browser: straighten and crop by keys and by touch, place signs
by touch and by keys, keep, assign, print beside a passage of notation."""

import io
import re

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from lessons.models import Lesson, Sheet
from lessons.sheets import sheet_pdf_bytes
from repertoire.models import Draft, Marking, Passage
from repertoire.technique.marks import Kind, Mark, load
from repertoire.technique.picture_places import parse_place
from tests.browser.conftest import DESK, PHONE, SIZES, TABLET
from tests.repertoire.scans import bare_movement, picture_passage, png, sheet

pytestmark = pytest.mark.django_db(transaction=True)


def drafted():
    return load(Draft.objects.get().marks)


def tap(page: Page, x: float, y: float) -> None:
    """Touch the picture at fractions of its width and height."""
    board = page.locator("[data-board]")
    board.evaluate("each => each.scrollIntoView({ block: 'start', behavior: 'instant' })")
    box = board.bounding_box()
    page.mouse.click(box["x"] + x * box["width"], box["y"] + y * box["height"])


def listed(page, words):
    expect(page.locator("#picture-list")).to_contain_text(words)


def test_from_a_scan_to_a_printed_sheet(page, sign_in, teacher, student, address, check_axe, check_width):
    movement = bare_movement(teacher)
    sign_in(teacher, TABLET)
    page.goto(address(f"/repertoire/movements/{movement.pk}"))
    page.get_by_label("From – to").fill("1-4")
    page.get_by_role("button", name="From a picture").click()
    check_axe()
    crooked = {"name": "scan.png", "mimeType": "image/png", "buffer": png(sheet(1.5))}
    page.get_by_label("Picture or PDF").set_input_files(crooked)
    page.get_by_role("button", name="Send the picture").click()
    # Straightened by keys: each press on the slider is a tenth of a degree.
    expect(page.get_by_role("link", name="Straighten by 1.5° to the left")).to_be_visible()
    check_axe()
    page.get_by_label("Straighten, slider").focus()
    for _ in range(15):
        page.keyboard.press("ArrowLeft")
    expect(page.get_by_label("Straighten", exact=True)).to_have_value("-1.5")
    expect(page.locator(".crop-frame img")).to_have_attribute("style", re.compile(r"rotate\(-1\.5deg\)"))
    # The lower edge by number, the upper one by slider, the right one by touch on its handle.
    page.get_by_label("Lower edge", exact=True).fill("50")
    page.get_by_label("Upper edge, slider").focus()
    for _ in range(20):
        page.keyboard.press("ArrowRight")
    expect(page.get_by_label("Upper edge", exact=True)).to_have_value("10")
    frame, handle = page.locator(".crop-frame").bounding_box(), page.locator(".crop-right").bounding_box()
    page.mouse.move(handle["x"] + 22, handle["y"] + 22)
    page.mouse.down()
    page.mouse.move(frame["x"] + 0.97 * frame["width"], handle["y"] + 60)
    page.mouse.up()
    expect(page.get_by_label("Right edge", exact=True)).to_have_value(re.compile(r"^(96\.[789]|97(\.[0-3])?)$"))
    expect(page.get_by_label("Bars it shows")).to_have_value("1-4")
    page.get_by_label("Title").fill("From print")
    page.get_by_role("button", name="Keep this passage").click()
    expect(page.get_by_role("heading", name="From print")).to_be_visible()
    passage = Passage.objects.get()
    assert (passage.picture.height, len(passage.picture.staves)) == (280, 1)  # 10 to 50 % of 700 px [A]
    check_axe()
    check_width()

    page.get_by_role("link", name="Place signs").click()
    tap(page, 0.2, 0.2)
    page.get_by_role("button", name="down-bow").click()
    listed(page, "20 % across, above: down-bow")
    # From here by keys alone: five percent to the right, an up-bow, then a finger.
    board = page.get_by_role("application")
    board.focus()
    page.keyboard.press("Shift+ArrowRight")
    page.keyboard.press("u")
    listed(page, "25 % across, above: up-bow")
    expect(board).to_be_focused()
    page.keyboard.press("Shift+ArrowRight")
    page.keyboard.press("2")
    listed(page, "30 % across, above: finger 2")
    # A slur from place to place by touch.
    tap(page, 0.4, 0.3)
    page.get_by_role("button", name="slur", exact=True).click()
    expect(page.locator("[data-where]")).to_contain_text("The slur begins at the ring")
    tap(page, 0.6, 0.3)
    page.get_by_role("button", name="slur", exact=True).click()
    listed(page, "40 % across, above: slur to 60 %")
    check_axe()
    page.get_by_role("link", name="Keep…").click()
    page.get_by_label("Name").fill("Even bows")
    page.get_by_role("button", name="Keep", exact=True).click()
    expect(page.get_by_role("heading", name="Even bows")).to_be_visible()
    check_axe()
    marking = Marking.objects.get(name="Even bows")

    # A passage typed in; assigned with the other, one sheet carries both.
    page.goto(address("/repertoire/type"))
    page.locator("#id_text").fill("M:4/4\nL:1/4\nK:D clef=alto\nvD F A F|uG2 E2|")
    expect(page.locator("#abc-summary")).to_have_text("2 bars")
    page.get_by_label("Title").fill("Typed in")
    page.get_by_role("button", name="Keep this piece").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Typed in")
    notated = Passage.objects.get(picture=None)
    for each, kept in ((passage, marking), (notated, None)):
        page.goto(address(f"/students/{student.pk}/assign?passage={each.pk}" + (f"&marking={kept.pk}" if kept else "")))
        page.get_by_role("button", name="Give it to Mira").click()
        expect(page.get_by_text("Given to Mira.")).to_be_visible()
    expect(page.locator("image.scan")).to_have_count(1)
    Lesson.objects.create(teacher=teacher, student=student, number=1, starts=timezone.now(), minutes=30)
    page.goto(address(f"/students/{student.pk}/sheets/next"))
    expect(page.get_by_text("with its picture: Even bows")).to_be_visible()
    page.get_by_role("button", name="Issue and print").click()
    expect(page.get_by_text("is issued and kept")).to_be_visible()
    pdf = PdfReader(io.BytesIO(sheet_pdf_bytes(Sheet.objects.get())))
    assert len(pdf.pages) == 1
    assert [(i.image.width, i.image.height) for i in pdf.pages[0].images] == [(1552, 280)]
    words = pdf.pages[0].extract_text()
    assert "From print" in words
    assert "Typed in" in words


def test_placing_the_same_sign_again_moving_and_undoing(page, sign_in, teacher, address):
    passage = picture_passage(teacher)
    sign_in(teacher, DESK)
    page.goto(address(f"/repertoire/passages/{passage.pk}/signs"))
    tap(page, 0.1, 0.2)
    page.get_by_role("button", name="down-bow").click()
    listed(page, "10 % across, above: down-bow")
    page.get_by_label("each tap writes the last sign again").check()
    tap(page, 0.3, 0.2)
    listed(page, "30 % across, above: down-bow")
    tap(page, 0.5, 0.2)
    listed(page, "50 % across, above: down-bow")
    places = sorted(parse_place(mark.at).x for mark in drafted())
    assert places == pytest.approx([0.1, 0.3, 0.5], abs=0.002)
    # Moved by its button, which keeps the focus; removed by key; undone by key.
    page.get_by_text("Move stave 1, 10 % across, above: down-bow").click()
    right = page.get_by_role("button", name="right").first
    right.focus()
    right.evaluate("button => { button.click(); button.click(); }")  # the second before the first is answered
    expect(page.locator("#picture-list li").first).to_contain_text("11 % across")
    expect(page.get_by_role("button", name="right").first).to_be_focused()
    page.get_by_label("each tap writes the last sign again").uncheck()
    tap(page, 0.5, 0.21)
    expect(page.locator("[data-where]")).to_contain_text("Here: stave 1, 50 % across, above: down-bow")
    page.keyboard.press("Delete")
    expect(page.locator("#picture-list li")).to_have_count(2)
    page.keyboard.press("Control+z")
    expect(page.locator("#picture-list li")).to_have_count(3)


def test_words_are_written_with_enter(page, sign_in, teacher, address):
    passage = picture_passage(teacher)
    sign_in(teacher, TABLET)
    page.goto(address(f"/repertoire/passages/{passage.pk}/signs"))
    page.get_by_label("words", exact=True).fill("broad")
    page.keyboard.press("Enter")
    expect(page.locator("[data-where]")).to_contain_text("Choose a place")
    tap(page, 0.5, 0.1)
    page.get_by_label("words", exact=True).focus()
    page.keyboard.press("Enter")
    listed(page, "“broad”")
    (mark,) = drafted()
    assert (mark.kind, mark.value) == (Kind.TEXT, "broad")


def test_without_a_script_signs_are_placed_by_numbers(browser, client_of, teacher, address, live_server):
    passage = picture_passage(teacher)
    session = client_of(teacher).cookies["sessionid"].value
    context = browser.new_context(java_script_enabled=False, viewport=TABLET)
    context.add_cookies([{"name": "sessionid", "value": session, "url": live_server.url}])
    page = context.new_page()
    page.goto(address(f"/repertoire/passages/{passage.pk}/signs"))
    page.get_by_label("From the left", exact=True).fill("25")
    page.get_by_label("from the top", exact=True).first.fill("20")
    page.get_by_role("button", name="up-bow").click()
    listed(page, "25 % across, above: up-bow")
    assert drafted() == (Mark(Kind.BOW, "x0.2500y0.2000", "up"),)
    context.close()


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES.keys())
def test_pages_fit_every_width(page, sign_in, teacher, address, check_width, check_axe, size):
    passage = picture_passage(teacher)
    sign_in(teacher, size)
    for path in ("", "/signs", "/notation", "/compare"):
        page.goto(address(f"/repertoire/passages/{passage.pk}{path}"))
        page.wait_for_load_state("networkidle")
        check_width()
        if size is PHONE:
            check_axe()
