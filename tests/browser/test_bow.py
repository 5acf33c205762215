"""The bow in the browser: the strip follows the slider, a bowing is taken, a sheet is printed with it."""

import re
from datetime import date

import pytest
from django.conf import settings
from playwright.sync_api import expect

from lessons.assigning import assign
from lessons.models import Sheet
from lessons.sheets import content_of
from repertoire.markings import make_marking, printed_marking
from repertoire.models import Marking, Suggestion
from tests.browser.conftest import DESK, PHONE, SIZES, TABLET
from tests.repertoire.bow_passages import uneven_passage
from tests.technique.lines import marks

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def passage(teacher):
    made = uneven_passage(teacher)
    printed_marking(made, teacher)
    return made


def strip_of(page):
    """The lines of the first strip, as they are drawn."""
    return page.locator(".strip").first.inner_html()


def test_the_strip_follows_the_slider(page, sign_in, teacher, passage, address):
    sign_in(teacher, DESK)
    page.goto(address(f"/repertoire/passages/{passage.pk}?under=bow"))
    page.get_by_label("Bow amounts").select_option("planned")
    expect(page.get_by_role("heading", name="The bow, planned")).to_be_visible()
    page.locator("#bow-strokes-1 summary").click()
    before = strip_of(page)
    expect(page.locator("#bow-tempo-note")).to_have_text("assumed: no tempo is printed")
    slider = page.get_by_role("slider", name=re.compile("^Tempo"))
    slider.fill("200")
    expect(page.locator("#bow-tempo-note")).to_have_text("")
    expect(page.locator("#bow-said")).to_contain_text("Crotchet = 200")
    expect(page.get_by_label("Tempo, crotchet =")).to_have_value("200")
    assert strip_of(page) != before
    # The list that was open stays open, and the slider keeps the focus.
    expect(page.locator("#bow-strokes-1")).to_have_attribute("open", "")
    slider.press("ArrowLeft")
    expect(page.locator("#bow-said")).to_contain_text("Crotchet = 199")
    expect(slider).to_be_focused()
    expect(page.locator("#status")).to_contain_text("Crotchet = 199")
    expect(page).to_have_url(re.compile("tempo=199"))
    page.reload()
    expect(page.locator("#bow-said")).to_contain_text("Crotchet = 199")


def test_on_the_marking_page_it_follows_tempo_and_marks(page, sign_in, teacher, passage, address):
    sign_in(teacher, DESK)
    page.goto(address(f"/repertoire/passages/{passage.pk}/mark?under=bow"))
    page.wait_for_selector("html.scripted")
    page.get_by_label("Tempo, crotchet =").fill("120")
    expect(page.locator("#bow-said")).to_contain_text("Crotchet = 120")
    expect(page.locator("#bow-said")).not_to_contain_text("needs a retake or a hook")
    page.get_by_role("listbox", name="Notes of the passage").focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("v")
    expect(page.locator("#bow-said")).to_contain_text("Crotchet = 120")
    expect(page.locator(".strip").first).to_be_visible()


def test_an_uneven_rhythm_is_answered_at_the_picked_note(page, sign_in, teacher, passage, address):
    sign_in(teacher, TABLET)
    page.goto(address(f"/repertoire/passages/{passage.pk}/mark"))
    page.wait_for_selector("html.scripted")
    page.get_by_role("listbox", name="Notes of the passage").focus()
    for _ in range(4):
        page.keyboard.press("ArrowRight")
    page.get_by_role("link", name="Uneven rhythm here").click()
    expect(page.get_by_label("Place")).to_have_value("b3n1")
    page.get_by_role("button", name="Write C into the draft").click()
    expect(page.locator("#mark-list")).to_contain_text("retake")


def test_compared_markings_follow_too(page, sign_in, teacher, passage, address, check_width):
    make_marking(passage, teacher, marks("up b1n1"), name="Up", origin="own")
    sign_in(teacher, TABLET)
    page.goto(address(f"/repertoire/passages/{passage.pk}/compare"))
    page.get_by_label("Tempo, crotchet =").fill("60")
    expect(page.locator("#bow-said")).to_contain_text("Crotchet = 60")
    expect(page.locator("#facts")).to_contain_text("4.0 s")
    check_width()


def test_a_bowing_is_taken_and_kept(page, sign_in, teacher, passage, address):
    sign_in(teacher, TABLET)
    page.goto(address(f"/repertoire/passages/{passage.pk}/bowings"))
    page.get_by_role("button", name="Take B into a draft").click()
    expect(page.get_by_text("stands in the draft")).to_be_visible()
    page.get_by_role("link", name="Keep…").click()
    page.get_by_label("Name").fill("Tried out")
    page.get_by_role("button", name="Keep", exact=True).click()
    expect(page.get_by_role("heading", name="Tried out")).to_be_visible()
    assert Marking.objects.get(name="Tried out").origin == "suggested"
    assert Suggestion.objects.filter(answer="taken").count() == 1


def test_a_sheet_is_printed_with_it(page, sign_in, teacher, student, passage, address, check_axe):
    marking = Marking.objects.get(passage=passage)
    assign(student, begun=date(2026, 3, 10), passage=passage, marking=marking, minutes=10)
    sign_in(teacher, DESK)
    page.goto(address(f"/students/{student.pk}/sheets/next"))
    page.get_by_label(re.compile("^Under the staves of")).select_option("bow")
    page.get_by_role("button", name="Show again").click()
    frame = page.frame_locator("iframe")
    expect(frame.get_by_alt_text(re.compile("Bow, as marked")).first).to_be_visible()
    check_axe()
    page.get_by_role("button", name="Issue and print").click()
    expect(page.get_by_text("is issued and kept")).to_be_visible()
    assert content_of(Sheet.objects.get()).items[0].under == "bow"


@pytest.mark.parametrize("size", SIZES)
def test_pages_suit_every_screen(page, sign_in, teacher, passage, address, check_axe, check_width, size):
    make_marking(passage, teacher, marks("up b1n1"), name="Up", origin="own")
    sign_in(teacher, SIZES[size])
    for path in (
        f"/repertoire/passages/{passage.pk}?under=bow&bow=1&speeds=1&directions=every",
        f"/repertoire/passages/{passage.pk}/compare?show=bow",
        f"/repertoire/passages/{passage.pk}/bowings",
        f"/repertoire/passages/{passage.pk}/uneven",
        f"/repertoire/passages/{passage.pk}/elsewhere",
        "/settings/bow",
    ):
        page.goto(address(path))
        page.locator("#bow-said details").evaluate_all("lists => lists.forEach(list => { list.open = true; })")
        check_width()
        check_axe()


def test_without_scripts_it_is_a_plain_form(browser, live_server, client_of, teacher, passage):
    context = browser.new_context(java_script_enabled=False, viewport=PHONE)
    session = client_of(teacher).cookies[settings.SESSION_COOKIE_NAME].value
    context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": live_server.url}])
    plain = context.new_page()
    plain.goto(f"{live_server.url}/repertoire/passages/{passage.pk}?under=bow")
    plain.get_by_label("Tempo, crotchet =").fill("60")
    plain.locator("#bow-fields").get_by_role("button", name="Show").click()
    expect(plain.locator("#bow-said")).to_contain_text("Crotchet = 60")
    context.close()
