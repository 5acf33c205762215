"""The lesson page in the browser, an instrument in the other hand: taps, tempo, flags, the note that
saves itself, and no network: everything is kept and arrives exactly once."""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from lessons.assigning import assign
from lessons.models import Assignment, Lesson, ListeningPoint, Observation, Phrase
from repertoire.technique.marks import Kind, Mark
from tests.browser.conftest import DESK, PHONE, TABLET, eventually
from tests.conftest import PASSWORD
from tests.lessons.conftest import TWO_BARS, make_marking, make_passage

pytestmark = pytest.mark.django_db(transaction=True)
SCREENS = {390: "phone", 820: "tablet"}
SAVED = re.compile(r"^saved \d\d:\d\d$")
OFFLINE = r"ERR_INTERNET_DISCONNECTED|ERR_FAILED"


@pytest.fixture
def lesson(teacher, student) -> Lesson:
    Phrase.objects.create(teacher=teacher, text="thumb soft", theme="left hand", used=3)
    return Lesson.objects.create(
        teacher=teacher, student=student, number=1, starts=timezone.now() - timedelta(minutes=10), minutes=45
    )


@pytest.fixture
def work(teacher, student) -> Assignment:
    passage = make_passage(teacher, notes=TWO_BARS)
    low = make_marking(passage, 1, "First position", Mark(Kind.FINGER, "b2n1", "0"))
    high = make_marking(passage, 2, "Third position", Mark(Kind.FINGER, "b2n1", "2"))
    make_marking(passage, 3, "Half position", Mark(Kind.FINGER, "b2n1", "3"))
    return assign(
        student,
        passage=passage,
        marking=low,
        to_try=[high],
        steps=["Slow", "Slurred"],
        tempo_now=60,
        tempo_goal=80,
        begun=date(2026, 3, 19),
    )


@pytest.fixture
def open_lesson(sign_in, teacher, lesson, work, address):
    def at(size) -> Page:
        page = sign_in(teacher, size)
        page.goto(address(f"/lessons/{lesson.pk}"))
        expect(page.locator("[data-excerpt]")).to_have_attribute("data-screen", SCREENS[size["width"]])
        return page

    return at


def step(page: Page, words: str):
    return page.locator("form.outcome", has_text=words)


def everything_sent(page: Page) -> None:
    page.wait_for_function("() => !Object.keys(localStorage).some(key => key.startsWith('passagework-waiting'))")


def standing() -> list[tuple[str, str, int | None, str]]:
    rows = Observation.objects.standing().select_related("step").order_by("at", "id")
    return [(str(o.step or ""), o.outcome, o.tempo, o.text) for o in rows]


@pytest.mark.parametrize("size", [TABLET, PHONE], ids=["tablet", "phone"])
def test_a_lesson(open_lesson, size, work, lesson, check_axe, check_width):
    page = open_lesson(size)
    check_axe()
    check_width()
    step(page, "Slow").get_by_role("button", name="better").click()
    expect(step(page, "Slow").get_by_role("button", name="better")).to_have_attribute("aria-pressed", "true")
    for _ in range(3):
        page.get_by_role("button", name="Faster").click()
    expect(page.locator("[data-tempo-now]")).to_have_text("69")
    page.get_by_role("button", name="thumb soft").click()
    everything_sent(page)
    expect(page.locator(".noted li")).to_have_count(3)
    expect(page.locator(".waiting-row")).to_have_count(0)
    assert sorted(standing(), key=str) == [("", "", 69, ""), ("", "", None, "thumb soft"), ("Slow", "better", None, "")]
    work.refresh_from_db()
    assert work.tempo_now == 69

    page.get_by_label("For you alone").fill("tired after the concert")
    expect(page.locator("[data-note-status]")).to_have_text(SAVED)
    lesson.refresh_from_db()
    assert lesson.private_note == "tired after the concert"

    page.get_by_role("button", name="Try “Third position”").click()
    expect(page.locator(".marking-line")).to_contain_text("Marking: Third position")
    expect(page.get_by_role("button", name="Try “First position”")).to_be_visible()
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".marking-line")).to_contain_text("Marking: First position")
    everything_sent(page)
    assert [c.reason for c in work.marking_changes.all()] == ["", "undone in the lesson"]
    check_axe()
    check_width()


def test_a_note_is_flagged_by_touch_and_by_keys(open_lesson):
    page = open_lesson(TABLET)
    head = page.locator("[data-address=b1n3] use").first.bounding_box()
    page.mouse.click(head["x"] + head["width"] / 2, head["y"] + head["height"] / 2 + 6)
    expect(page.get_by_label("Which note")).to_have_value("b1n3")
    expect(page.locator("[data-address=b1n3] use").first).to_be_in_viewport()  # the music and the form together
    expect(page.get_by_role("group", name="To hear for")).to_be_in_viewport()
    page.get_by_role("group", name="To hear for").get_by_role("button", name="intonation").click()
    expect(page.locator(".to-hear")).to_contain_text("bar 1, beat 3, F♯4: intonation")
    expect(page.locator("[data-address=b1n3]")).to_contain_class("flagged")
    page.locator("[data-address=b1n1]").focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    expect(page.get_by_label("Which note")).to_have_value("b1n2")
    page.keyboard.press("Enter")
    everything_sent(page)
    assert [(p.address, p.theme) for p in ListeningPoint.objects.all()] == [
        ("b1n3", "intonation"),
        ("b1n2", "intonation"),
    ]
    page.get_by_role("button", name=re.compile("Settled.*bar 1, beat 3")).click()
    expect(page.locator(".to-hear li")).to_have_count(1)
    page.get_by_role("button", name="Undo: settled").click()
    expect(page.locator(".to-hear li")).to_have_count(2)


@pytest.mark.parametrize("size", [TABLET, PHONE], ids=["tablet", "phone"])
def test_without_network_everything_is_kept_and_arrives_once(open_lesson, size, watch, work, lesson, check_axe):
    watch.expect(OFFLINE)
    page = open_lesson(size)
    page.context.set_offline(True)
    step(page, "Slow").get_by_role("button", name="better").click()
    step(page, "Slurred").get_by_role("button", name="not yet").click()
    page.get_by_role("button", name="Faster").click()
    page.get_by_role("button", name="Faster").click()
    step(page, "The whole").get_by_role("button", name="same").click()
    page.get_by_role("button", name="Undo").click()  # never leaves the browser
    expect(step(page, "The whole").get_by_role("button", name="same")).to_have_attribute("aria-pressed", "false")
    note = page.get_by_role("textbox", name="May be shown on reports")
    note.fill("Kept a quiet thumb")
    expect(page.locator("[data-note-status]")).to_have_text("kept here, not sent yet")
    expect(page.locator("[data-waiting-count]")).to_have_text("4 entries are kept here and not sent yet.")
    expect(page.locator(".waiting-row")).to_have_count(3)
    check_axe()
    assert not Observation.objects.exists()
    page.context.set_offline(False)
    everything_sent(page)
    expect(page.locator("#waiting")).to_be_hidden()
    expect(page.locator("[data-note-status]")).to_have_text(SAVED)
    expect(page.locator(".waiting-row")).to_have_count(0)
    assert standing() == [("Slow", "better", None, ""), ("Slurred", "not yet", None, ""), ("", "", 66, "")]
    assert Observation.objects.count() == 3
    lesson.refresh_from_db()
    assert (lesson.note, lesson.note_version) == ("Kept a quiet thumb", 1)


def test_an_answer_that_is_lost_does_not_store_twice(open_lesson, watch):
    watch.expect(OFFLINE)
    page = open_lesson(TABLET)
    lost = []

    def lose(route):
        route.fetch()  # the studio stores it, the answer never arrives
        lost.append(route.request.url)
        route.abort()

    page.route("**/observe", lose, times=1)
    step(page, "Slow").get_by_role("button", name="better").click()
    expect(page.locator("#waiting")).to_be_visible()
    eventually(lambda: lost and Observation.objects.count() == 1, page)
    everything_sent(page)
    assert len(lost) == 1
    assert standing() == [("Slow", "better", None, "")]
    assert Observation.objects.count() == 1


def test_what_waits_survives_closing_the_page(open_lesson, watch, address, lesson):
    watch.expect(OFFLINE)
    page = open_lesson(TABLET)
    page.route("**/lessons/*/*", lambda route: route.abort())
    step(page, "Slurred").get_by_role("button", name="same").click()
    page.get_by_role("textbox", name="May be shown on reports").fill("Long bows")
    expect(page.locator("[data-note-status]")).to_have_text("kept here, not sent yet")
    page.goto("about:blank")
    page.unroute("**/lessons/*/*")
    page.goto(address("/"))
    everything_sent(page)
    assert standing() == [("Slurred", "same", None, "")]
    lesson.refresh_from_db()
    assert lesson.note == "Long bows"


def test_a_note_of_two_pages_is_never_lost(open_lesson, watch, lesson):
    watch.expect(r"status of 409")
    page = open_lesson(TABLET)
    Lesson.objects.filter(pk=lesson.pk).update(note="From the phone", note_version=1)
    page.get_by_role("textbox", name="May be shown on reports").fill("From the tablet")
    expect(page.locator("[data-note-conflict]")).to_contain_text("From the phone")
    page.get_by_role("button", name="Keep what stands here").click()
    expect(page.locator("[data-note-status]")).to_have_text(SAVED)
    lesson.refresh_from_db()
    assert (lesson.note, lesson.note_version) == ("From the tablet", 2)


def test_finishing_leads_on(open_lesson, lesson, work):
    page = open_lesson(TABLET)
    page.get_by_label("came late").check()
    page.get_by_label("Sentence for the week").fill("Sing before you play")
    page.get_by_role("button", name="Finish", exact=True).click()
    page.wait_for_url("**/")
    lesson.refresh_from_db()
    assert (lesson.attendance, lesson.sentence) == ("late", "Sing before you play")
    assert lesson.finished is not None


def test_targets_are_large_enough_and_the_name_stays(open_lesson):
    page = open_lesson(PHONE)
    for details in page.locator("main details").all():
        details.evaluate("each => { each.open = true; }")
    small = page.locator("main").evaluate(
        """main => [...main.querySelectorAll('button, a, summary, input:not([type=hidden]), select, textarea')]
            .map(each => [each, each.matches('.theme-radio') ? each.nextElementSibling
                : each.matches('[type=radio], [type=checkbox]') ? each.closest('label') : each])
            .map(([each, target]) => [each, target.getBoundingClientRect()])
            .filter(([each, box]) => box.width && (box.height < 44 || box.width < 44))
            .map(([each, box]) => `${each.outerHTML.slice(0, 80)} ${box.width}x${box.height}`)"""
    )
    assert small == []
    page.locator("#finish").scroll_into_view_if_needed()
    expect(page.get_by_role("heading", name="Mira", exact=True)).to_be_in_viewport()
    expect(page.get_by_role("button", name="Undo")).to_be_in_viewport()


def test_by_keyboard_focus_stays_on_the_step(open_lesson):
    page = open_lesson(TABLET)
    step(page, "Slow").get_by_role("button", name="same").focus()
    page.keyboard.press("Enter")
    everything_sent(page)
    expect(page.locator(".noted li")).to_have_count(1)
    expect(step(page, "Slow").get_by_role("button", name="same")).to_be_focused()


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_the_pages_around_a_lesson(sign_in, teacher, student, lesson, work, address, size, check_axe, check_width):
    other = make_passage(teacher, title="Closing", piece="Weir", notes=TWO_BARS)
    page = sign_in(teacher, size)
    for path in (
        "/",
        "/lessons/",
        "/lessons/?by=month",
        "/lessons/new",
        f"/lessons/{lesson.pk}/time",
        "/find?q=mi",
        f"/students/{student.pk}/",
        f"/students/{student.pk}/assign",
        f"/students/{student.pk}/assign?passage={other.pk}",
        f"/lessons/assign?passage={other.pk}",
        f"/lessons/work/{work.pk}",
    ):
        page.goto(address(path))
        check_width()
        check_axe()


def test_from_sign_in_to_an_assignment_in_under_a_dozen_taps(page, teacher, student, work, address):
    other = make_passage(teacher, title="Closing", piece="Weir", notes=TWO_BARS)
    page.goto(address("/sign-in"))
    page.get_by_label("E-mail").fill("ada@example.org")
    page.get_by_label("Password").fill(PASSWORD)
    taps = 0
    for wanted in (
        page.get_by_role("button", name="Sign in"),
        page.get_by_role("link", name="Students", exact=True),
        page.get_by_role("link", name="Mira Holt", exact=True),
        page.get_by_role("link", name="Assign", exact=True),
        page.get_by_role("link", name="Closing"),
        page.get_by_role("button", name="Slow", exact=True),  # a step of an earlier assignment, offered again
        page.get_by_role("button", name="Give it to Mira"),
    ):
        wanted.click()
        taps += 1
    expect(page.get_by_role("heading", name="Closing")).to_be_visible()
    assert taps == 7
    given = Assignment.objects.get(passage=other)
    assert [s.text for s in given.steps.all()] == ["Slow"]
    assert given.marking.name == "As printed"
