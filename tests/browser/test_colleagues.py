"""Two teachers in one studio: from the invitation to a copied marking, and a student handed over."""

from __future__ import annotations

from playwright.sync_api import expect

from repertoire.bounds import read_bounds
from repertoire.excerpts import movement_notes
from repertoire.importing import make_passage
from repertoire.markings import make_marking, marks_of
from repertoire.models import Marking, Passage
from repertoire.sharing import share
from repertoire.technique.marks import Kind, Mark
from studio.models import Student, Teacher
from tests.browser.conftest import PHONE
from tests.repertoire.music import first_movement


def test_from_the_invitation_to_a_copied_marking(sign_in, teacher, address, check_axe, check_width):
    movement = first_movement(teacher)
    bounds = read_bounds("2–3", movement_notes(movement)[0], movement.bar_count)
    passage = make_passage(movement, teacher, bounds, title="The turn")
    marks = (Mark(Kind.FINGER, "b2n1", "1"),)
    share(make_marking(passage, teacher, marks, name="Low", origin="own", reason="rings longer"))

    page = sign_in(teacher, size=PHONE)
    page.goto(address("/settings"))
    page.get_by_label("For whom").fill("Berta")
    check_axe()
    page.get_by_role("button", name="Invite a colleague").click()
    link = page.get_by_label("The link").input_value()
    check_axe()
    check_width()

    page.context.clear_cookies()
    page.goto(link)
    check_axe()
    check_width()
    page.get_by_label("Your name").fill("Berta Lind")
    page.get_by_label("E-mail").fill("berta@example.org")
    page.get_by_label("Password", exact=True).fill("four strings and a mute")
    page.get_by_label("The same password again").fill("four strings and a mute")
    page.get_by_role("button", name="Make the account").click()
    expect(page.get_by_text("Welcome to Lindenhof Studio")).to_be_visible()

    page.goto(address("/repertoire/"))
    expect(page.get_by_text("from Ada Fell")).to_be_visible()
    page.get_by_role("link", name="Two short movements").click()
    expect(page.get_by_role("heading", name="Two short movements")).to_be_visible()
    expect(page.get_by_text("The turn")).to_have_count(0)
    check_axe()
    check_width()
    page.get_by_role("link", name="Low").click()
    expect(page.get_by_text("Shared by Ada Fell")).to_be_visible()
    expect(page.locator("#excerpt svg").first).to_be_visible()
    expect(page.locator("[data-screen=phone] svg").first).to_be_visible()
    check_axe()
    check_width()
    page.get_by_role("button", name="Copy to my passage").click()
    expect(page.get_by_text("is copied to your passage")).to_be_visible()
    berta = Teacher.objects.get(email="berta@example.org")
    made = Marking.objects.get(teacher=berta, origin="colleague")
    assert (marks_of(made), made.source) == (marks, "Ada Fell")

    page.goto(address(f"/repertoire/movements/{movement.pk}"))
    page.get_by_label("From – to").fill("1–4")
    page.get_by_role("button", name="Make a passage").click()
    page.get_by_role("button", name="Keep").click()
    expect(page.get_by_role("heading", name="Shared by colleagues")).to_be_visible()
    assert Passage.objects.filter(teacher=berta, start_bar=1, end_bar=4).exists()
    check_axe()
    check_width()


def test_a_student_is_handed_over(sign_in, teacher, colleague, student, address, check_axe, check_width):
    page = sign_in(teacher, size=PHONE)
    page.goto(address("/settings/hand-over"))
    check_axe()
    check_width()
    page.get_by_label("Mira Holt").select_option(label="Clara Moor")
    page.get_by_label("Reason").fill("moves to the other end of town")
    page.get_by_role("button", name="Hand over").click()
    expect(page.get_by_text("Mira goes to Clara Moor")).to_be_visible()
    expect(page.get_by_role("heading", name="Leave the studio")).to_be_visible()
    check_axe()
    check_width()
    assert Student.objects.get().teacher == colleague
    page.once("dialog", lambda dialog: dialog.accept())
    page.get_by_role("button", name="Close my account").click()
    expect(page.get_by_text("Your account is closed.")).to_be_visible()
    check_axe()
