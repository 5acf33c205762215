"""Steps in the browser: order by keys and by dragging, phrases, looking at a stave before saving it."""

from __future__ import annotations

from datetime import date

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from lessons.assigning import StepPlan, assign
from lessons.models import Assignment, Lesson, Phrase
from lessons.stepping import add_step
from tests.browser.conftest import DESK, PHONE, TABLET
from tests.lessons.conftest import make_marking, make_passage
from tests.repertoire.scans import png

pytestmark = pytest.mark.django_db(transaction=True)
RUNNING = "D4 e E4 e F4 e G4 e A4 e G4 e F4 e E4 e | D4 h A3 h"


@pytest.fixture
def work(teacher, student) -> Assignment:
    passage = make_passage(teacher, notes=RUNNING)
    marking = make_marking(passage, 1, "As printed")
    given = assign(student, passage=passage, marking=marking, begun=date(2026, 3, 19), tempo_now=60, tempo_goal=80)
    recipe = {"format": 1, "kind": "rhythm", "marking": marking.pk, "with": {"pattern": "dotted"}}
    for plan in (StepPlan("First"), StepPlan("Second", 60, 80, recipe=recipe), StepPlan("Third")):
        add_step(given, plan)
    return given


def order(work) -> list[str]:
    return list(work.steps.filter(ended=None).order_by("position").values_list("text", flat=True))


@pytest.fixture
def open_steps(sign_in, teacher, work, address):
    def at(size) -> Page:
        page = sign_in(teacher, size)
        page.goto(address(f"/lessons/work/{work.pk}/steps"))
        return page

    return at


def test_order_with_the_arrow_keys(open_steps, work):
    page = open_steps(TABLET)
    handle = page.get_by_role("button", name="Move step 3")
    handle.focus()
    with page.expect_response("**/steps/order"):
        handle.press("ArrowUp")
    expect(page.locator(".step-text").nth(1)).to_have_text("2. Third")
    expect(page.locator("#status")).to_have_text("Step 2 of 3.")
    expect(handle).to_be_focused()
    assert order(work) == ["First", "Third", "Second"]


def test_order_by_dragging(open_steps, work):
    page = open_steps(DESK)
    handle = page.get_by_role("button", name="Move step 1")
    start, target = handle.bounding_box(), page.locator("[data-step]").nth(1).bounding_box()
    page.mouse.move(start["x"] + 5, start["y"] + 5)
    page.mouse.down()
    page.mouse.move(start["x"] + 5, target["y"] + target["height"] - 4, steps=6)
    with page.expect_response("**/steps/order"):
        page.mouse.up()
    assert order(work) == ["Second", "First", "Third"]


def test_a_phrase_goes_into_the_words_with_one_tap(open_steps, teacher, work):
    Phrase.objects.create(teacher=teacher, text="From bar {bar}, at {tempo}.", theme="rhythm")
    page = open_steps(TABLET)
    page.get_by_text("My phrases", exact=True).click()
    page.get_by_role("button", name="From bar 1, at 60.").click()
    expect(page.get_by_label("What to do")).to_have_value("From bar 1, at 60.")
    page.locator("section[aria-labelledby='in-words']").get_by_role("button", name="Add", exact=True).click()
    expect(page.locator(".step-text").nth(3)).to_contain_text("From bar 1, at 60.")
    assert Phrase.objects.get().used == 1


def test_a_stave_is_looked_at_before_it_is_saved(open_steps, work):
    page = open_steps(TABLET)
    page.get_by_role("link", name="Edit step 2").click()
    page.get_by_label("Rhythm").select_option("reversed")
    before = page.locator("#stave svg").inner_html()
    with page.expect_response("**/look"):
        page.get_by_role("button", name="Look at it").click()
    expect(page.locator("#stave svg")).to_have_count(1)
    page.wait_for_function("(before) => document.querySelector('#stave svg').innerHTML !== before", arg=before)
    assert work.steps.get(text="Second").recipe["with"] == {"pattern": "dotted"}
    page.get_by_role("button", name="Save").click()
    expect(page.locator("#messages")).to_contain_text("Saved.")
    assert work.steps.get(text="Second").recipe["with"]["pattern"] == "reversed"


@pytest.mark.parametrize("size", [PHONE, TABLET, DESK], ids=["phone", "tablet", "desk"])
def test_steps_are_accessible_and_fit_the_screen(open_steps, size, check_axe, check_width):
    page = open_steps(size)
    page.get_by_text("more", exact=False).first.click()
    check_axe()
    check_width()
    page.get_by_role("link", name="Edit step 2").click()
    check_axe()
    check_width()


def test_in_the_lesson_a_steps_stave_opens_under_its_words(sign_in, teacher, student, work, address, check_width):
    lesson = Lesson.objects.create(teacher=teacher, student=student, number=1, starts=timezone.now())
    page = sign_in(teacher, PHONE)
    page.goto(address(f"/lessons/{lesson.pk}"))
    stave = page.locator("details.step-stave")
    expect(stave).to_have_count(1)
    stave.locator("summary").click()
    expect(stave.locator("svg.engraving").first).to_be_visible()
    check_width()


def test_a_picture_is_put_into_a_step(open_steps, work, check_axe, check_width):
    page = open_steps(PHONE)
    page.get_by_role("link", name="Picture of step 1").click()
    page.get_by_label("Picture", exact=True).set_input_files(
        {"name": "a.png", "mimeType": "image/png", "buffer": png()}
    )
    page.get_by_label("What it shows").fill("two lines of music")
    page.get_by_role("button", name="Put it in").click()
    expect(page.get_by_role("img", name="two lines of music")).to_be_visible()
    check_width()
    check_axe()
