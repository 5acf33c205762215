"""Adding and changing a weekly row of lessons in a real browser, and the month as a grid or a list."""

from __future__ import annotations

from datetime import date, time

from playwright.sync_api import expect

from lessons.planning import plan_lessons
from studio.models import Student


def test_a_weekly_row_is_added_in_spite_of_a_clash_taken_back_and_ended(
    sign_in, teacher, student, address, check_axe, check_width, watch
):
    watch.expect(r"status of 409")  # the clash, told before anything is stored
    noor = Student.objects.create(teacher=teacher, first_name="Noor", surname="Lind")
    plan_lessons(noor, on=date(2030, 1, 9), at=time(16, 30))
    page = sign_in(teacher, size={"width": 390, "height": 844})
    page.goto(address("/lessons/new"))
    for label, value in (("Date", "2030-01-02"), ("Time", "16:30"), ("Weeks", "3")):
        page.get_by_label(label, exact=True).fill(value)
    page.get_by_label("Student", exact=True).select_option("Mira Holt")
    page.get_by_role("button", name="Add to the calendar").click()
    expect(page.get_by_role("alert")).to_contain_text("Wed 9 Jan 2030, 16:30 to 17:00 Noor Lind")
    check_axe()
    check_width()
    page.get_by_role("button", name="Add them all the same").click()
    expect(page.get_by_role("button", name="Take these 3 back")).to_be_visible()
    page.goto(address("/lessons/?by=month&on=2030-01-01"))
    expect(page.get_by_role("table")).to_be_hidden()
    expect(page.get_by_role("heading", name="Wednesday 9 January")).to_be_visible()
    check_axe()
    check_width()
    page.set_viewport_size({"width": 820, "height": 1180})
    expect(page.get_by_role("heading", name="Wednesday 9 January")).to_be_hidden()
    cell = page.get_by_role("table").locator("td").filter(has_text="16:30 Noor")
    expect(cell.get_by_role("link")).to_have_text(["9 January, its week", "16:30 Noor", "16:30 Mira"])
    check_axe()
    check_width()
    cell.get_by_role("link", name="9 January, its week").click()
    page.get_by_role("link", name="Change the lesson with Mira on 9 January").click()
    page.get_by_label("This and the later one: Wednesdays at 16:30, up to 16 January 2030").check()
    page.get_by_label("Time", exact=True).fill("17:15")
    check_axe()
    check_width()
    page.get_by_role("button", name="Save the time").click()
    expect(page.get_by_text("2 lessons have their new time.")).to_be_visible()
    expect(page.get_by_text("Take these 3 back")).to_have_count(0)
    page.get_by_role("link", name="Change the lesson with Mira on 9 January").click()
    page.on("dialog", lambda dialog: dialog.accept())
    page.get_by_role("button", name="Remove this and the later one").click()
    expect(page.get_by_text("2 lessons with Mira removed.")).to_be_visible()
