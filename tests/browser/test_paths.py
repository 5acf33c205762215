"""The four ways the studio is used most, each from signing in to a PDF, with every tap counted: a new marking
for a student, a lesson, the sheets for tomorrow, and what a parent asks for. Under a dozen taps each."""

from __future__ import annotations

import io
from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from urllib.parse import urljoin
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone
from playwright.sync_api import Locator, Page, expect
from pypdf import PdfReader

from lessons.assigning import assign
from lessons.models import Assignment, Lesson, Observation, Sheet
from lessons.observing import observe
from lessons.sheets import issue_sheet, sheet_pdf_bytes
from studio.models import Student
from tests.browser.conftest import PHONE, TABLET
from tests.conftest import PASSWORD
from tests.lessons.conftest import TWO_BARS, make_marking, make_passage

pytestmark = pytest.mark.django_db(transaction=True)
SCREEN = {390: "phone", 820: "tablet"}  # what a page says it was drawn for
BOTH = pytest.mark.parametrize("size", [TABLET, PHONE], ids=["tablet", "phone"])


class Taps:
    """Taps things on the page and counts them; typing is not a tap, what it is typed into is."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.count = 0

    def __call__(self, thing: Locator) -> None:
        thing.click()
        self.count += 1

    def button(self, name: str) -> None:
        self(self.page.get_by_role("button", name=name, exact=True))

    def link(self, name: str) -> None:
        self(self.page.get_by_role("link", name=name, exact=True))


@pytest.fixture
def begin(page: Page, teacher, address) -> Callable[[dict[str, int]], Taps]:
    """Sign in by hand at a screen's size; the tap on “Sign in” is the first."""

    def at(size) -> Taps:
        page.set_viewport_size(size)
        page.goto(address("/sign-in"))
        page.get_by_label("E-mail").fill("ada@example.org")
        page.get_by_label("Password").fill(PASSWORD)
        taps = Taps(page)
        taps.button("Sign in")
        expect(page.get_by_role("link", name="Today", exact=True)).to_be_visible()
        return taps

    return at


@pytest.fixture
def work(teacher, student) -> Assignment:
    passage = make_passage(teacher, notes=TWO_BARS)
    low = make_marking(passage, 1, "First position")
    return assign(student, passage=passage, marking=low, steps=["Slow"], tempo_now=60, begun=date(2026, 3, 19))


@pytest.fixture
def lesson(teacher, student) -> Lesson:
    """A lesson that begins now, whatever the hour."""
    return Lesson.objects.create(teacher=teacher, student=student, number=1, starts=timezone.now(), minutes=45)


def printed(taps: Taps, name: str) -> PdfReader:
    """The PDF behind a link that opens in a window of its own, which is one tap more."""
    link = taps.page.get_by_role("link", name=name)
    expect(link).to_be_visible()
    taps.count += 1
    answer = taps.page.request.get(urljoin(taps.page.url, link.get_attribute("href") or ""))
    assert answer.headers["content-type"] == "application/pdf"
    return PdfReader(io.BytesIO(answer.body()))


@BOTH
def test_a_new_marking_for_a_student(begin, page, size, lesson, work, check_axe, check_width):
    """Preparing: another bowing for this student, and the sheet with it."""
    taps = begin(size)
    taps.link("Mira")
    taps.link("Mark Mill Stream: Opening")
    expect(page.locator("#mark-systems")).to_have_attribute("data-screen", SCREEN[size["width"]])
    page.wait_for_selector("html.scripted")
    note = page.locator("#pick-b1n1")
    note.evaluate("each => each.scrollIntoView({ block: 'center', behavior: 'instant' })")
    box = note.bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    taps.count += 1
    expect(page.locator("[role=option][aria-selected=true]")).to_have_count(1)
    taps.button("up-bow")
    expect(page.locator("#mark-list")).to_contain_text("up-bow on D4")
    taps.link("Keep…")
    page.get_by_label("Name").fill("Begin up")
    page.get_by_label("Why").fill("the crescendo")
    taps.button("Keep")
    expect(page.get_by_role("heading", level=1)).to_have_text("Begin up")
    check_axe()
    check_width()
    taps.button("Use it for Mira")
    expect(page.locator("#messages")).to_contain_text("Mira now uses “Begin up”.")
    check_axe()
    taps.link("Practice sheet")
    taps.button("Issue and print")
    pdf = printed(taps, "Open and print")
    assert taps.count == 11
    assert "Mill Stream: Opening" in pdf.pages[0].extract_text()
    work.refresh_from_db()
    assert work.marking.name == "Begin up"
    assert [marking.name for marking in Sheet.objects.get().markings.all()] == ["Begin up"]


@BOTH
def test_a_lesson(begin, page, size, lesson, work, check_axe, check_width):
    """Heard and noted with an instrument in one hand; next week as last week; the sheet to take home."""
    taps = begin(size)
    taps.link("Open the lesson with Mira")
    expect(page.locator("[data-excerpt]")).to_have_attribute("data-screen", SCREEN[size["width"]])
    slow = page.locator(".outcome-rows li").filter(has_text="Slow")
    taps(slow.get_by_role("button", name="better"))
    expect(page.locator(".noted li")).to_have_count(1)
    taps(page.get_by_role("button", name="Faster: 63"))
    expect(page.locator("[data-tempo-now]")).to_have_text("63")
    taps(page.get_by_text("Flag a note", exact=True))
    taps(page.locator(".flagging").get_by_role("button", name="intonation"))
    expect(page.locator(".to-hear li")).to_have_count(1)
    check_axe()
    check_width()
    taps.button("Finish, then the sheet")
    expect(page.get_by_role("heading", level=1)).to_have_text("Next practice sheet for Mira")
    taps.button("Issue and print")
    pdf = printed(taps, "Open and print")
    assert taps.count == 9
    assert "Mill Stream: Opening" in pdf.pages[0].extract_text()
    lesson.refresh_from_db()
    assert lesson.attendance == "attended"
    assert Sheet.objects.get().lesson == lesson
    assert {(seen.outcome, seen.tempo) for seen in Observation.objects.all()} == {("better", None), ("", 63)}


@BOTH
def test_the_sheets_for_tomorrow(begin, page, size, teacher, student, work, check_axe, check_width):
    """Every sheet of the day in one go, brother and sister on pages of their own."""
    jonas = Student.objects.create(teacher=teacher, first_name="Jonas")
    assign(jonas, passage=work.passage, marking=work.marking, begun=date(2026, 3, 19))
    zone = ZoneInfo(teacher.studio.timezone)
    for hour, who in ((12, student), (13, jonas)):
        starts = datetime.combine(timezone.localdate(timezone=zone) + timedelta(days=1), time(hour), zone)
        Lesson.objects.create(teacher=teacher, student=who, number=1, starts=starts)
    taps = begin(size)
    taps.link("Print tomorrow’s sheets")
    check_axe()
    taps.button("Issue the sheets ticked")
    expect(page.locator("#messages")).to_contain_text("2 sheets issued.")
    check_axe()
    check_width()
    pdf = printed(taps, "Print all 2")
    assert taps.count == 4
    assert ["Mira" in sheet.extract_text() for sheet in pdf.pages] == [True, False]
    assert ["Jonas" in sheet.extract_text() for sheet in pdf.pages] == [False, True]


@BOTH
def test_what_a_parent_asks_for(begin, page, size, lesson, student, work, check_axe, check_width):
    """The report with shared observations only, and the sheet of then, byte for byte."""
    observe(lesson, work, at=lesson.starts, outcome="better", text="true and light", shared=True)
    observe(lesson, work, at=lesson.starts, outcome="not yet", text="tired today")
    old = issue_sheet(student, lesson, at=lesson.starts)
    taps = begin(size)
    taps.link("Students")
    taps.link("Mira Holt")
    taps.link("Report")
    check_axe()
    check_width()
    report = "".join(each.extract_text() for each in PdfReader(io.BytesIO(page.pdf())).pages)
    taps.count += 1  # “Print”
    assert "true and light" in report
    assert "tired today" not in report
    assert "Students" not in report, "a page printed is a clean page"
    taps.link("History")
    check_axe()
    taps.link("Practice sheet 1")
    taken = printed(taps, "Open and print")
    assert taps.count == 8
    assert "Mill Stream" in taken.pages[0].extract_text()
    assert page.request.get(f"{page.url}/pdf").body() == sheet_pdf_bytes(old)
