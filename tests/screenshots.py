"""`make screenshots`: the read-me's pictures, taken from the demonstration at tablet size, into docs/.

Loads the demonstration into a throw-away folder, serves it, signs in as anybody would and takes each page.
"""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

from tests.demonstration import PASSWORD, throw_away_demonstration

ROOT = Path(__file__).resolve().parents[1]
PICTURES = ROOT / "docs"
SIZE = {"width": 820, "height": 1180}
PHONE = {"width": 390, "height": 844}


def free_port() -> int:
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        return listening.getsockname()[1]


def wait_for(address: str, server: subprocess.Popen) -> None:
    for _ in range(100):
        if server.poll() is not None:
            raise SystemExit("The server stopped before it answered.")
        try:
            urllib.request.urlopen(address + "/healthz", timeout=2).read()
            return
        except OSError:
            time.sleep(0.2)
    raise SystemExit("The server did not answer.")


def pages() -> list[tuple[str, str]]:
    """What to take: file name and path, chosen where the demonstration has most to show."""
    from django.db.models import Count
    from django.urls import reverse
    from django.utils import timezone

    from lessons.models import Assignment, Lesson
    from repertoire.importing import TYPED_NAME
    from repertoire.models import Part, Passage

    marked = Passage.objects.annotate(versions=Count("markings")).order_by("-versions", "id").first()
    busiest = Assignment.objects.annotate(changes=Count("marking_changes")).order_by("-changes", "id").first().student
    fingered = Passage.objects.get(markings__name="Four fingers written")
    typed = Part.objects.get(revisions__file_name=TYPED_NAME)
    shared = Assignment.objects.get(passage__title="The long notes")
    whole = reverse("student_part", args=[shared.student_id, shared.passage.movement.revision.part_id])
    bowed = Passage.objects.get(markings__name="Three and one, separate")
    chosen = bowed.markings.exclude(name="Begin up").order_by("number").values_list("pk", flat=True)[:3]
    versions = "&".join(f"marking={pk}" for pk in chosen)
    staved = Assignment.objects.filter(steps__recipe__kind="trill", ended=None).order_by("id").first()
    today = Lesson.objects.filter(starts__date=timezone.localdate()).order_by("starts").last()
    lesson = today or Lesson.objects.filter(starts__lt=timezone.now()).order_by("-starts").first()
    return [
        ("today", reverse("today")),
        ("student", reverse("student", args=[busiest.pk])),
        ("lesson", reverse("lesson", args=[lesson.pk])),
        ("passage", reverse("passage", args=[marked.pk])),
        ("marking", reverse("mark", args=[marked.pk])),
        ("picture", reverse("picture_mark", args=[Passage.objects.exclude(picture=None).get().pk])),
        ("left-hand", f"{reverse('passage', args=[fingered.pk])}?under=hand"),
        ("fingerings", reverse("fingerings", args=[fingered.pk])),
        ("bow", f"{reverse('passage', args=[bowed.pk])}?under=bow&bow=1&reading=planned&directions=every"),
        ("compare", f"{reverse('compare', args=[bowed.pk])}?show=bow&{versions}"),
        ("bowings", reverse("bowings", args=[bowed.pk])),
        ("typing", reverse("type_more", args=[typed.pk])),
        ("steps", reverse("steps", args=[staved.pk])),
        ("sheet", reverse("sheet_preview", args=[busiest.pk])),
        ("whole-part", whole),
        ("history", reverse("history", args=[busiest.pk])),
    ]


def page_at_home() -> str:
    """The path of a student's page, by a link made for the picture."""
    from django.utils import timezone

    from lessons import links
    from lessons.home_models import HomePage

    token, _ = links.make_link(HomePage.objects.order_by("student__first_name").last().student_id, at=timezone.now())
    return links.address("", token)


def printed_sheet() -> None:
    """The pages of the newest issued sheet that carries practice staves, as they come out of the printer."""
    from lessons.models import Assignment
    from lessons.sheets import sheet_pdf_bytes

    staved = Assignment.objects.filter(steps__recipe__kind="trill", ended=None).order_by("id").first()
    sheet = staved.student.sheets.order_by("-number").first()
    for page in (1, 2):
        out = PICTURES / f"printed-sheet-{page}"
        command = ["pdftoppm", "-png", "-r", "90", "-f", str(page), "-l", str(page), "-singlefile", "-", str(out)]
        subprocess.run(command, input=sheet_pdf_bytes(sheet), check=True)
        print(f"docs/{out.name}.png: sheet {sheet.number} for {sheet.student}, page {page}")


def take(address: str) -> None:
    from playwright.sync_api import sync_playwright

    from tests.browser.conftest import chromium

    wanted, at_home = pages(), page_at_home()
    PICTURES.mkdir(exist_ok=True)
    printed_sheet()
    flags = ["--disable-gpu", "--disable-background-networking", "--disable-component-update", "--no-first-run"]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=chromium(), args=[*flags, *(["--no-sandbox"] if os.geteuid() == 0 else [])]
        )
        page = browser.new_context(viewport=SIZE, locale="en-GB").new_page()
        page.goto(address + "/sign-in")
        page.get_by_label("E-mail").fill("demo@example.org")
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        for name, path in wanted:
            answer = page.goto(address + path)
            if answer is None or answer.status != 200:
                raise SystemExit(f"{path} answered {answer and answer.status}.")
            page.wait_for_load_state("networkidle")
            page.screenshot(path=PICTURES / f"{name}.png")
            print(f"docs/{name}.png: {path}")
        phone = browser.new_context(viewport=PHONE, locale="en-GB", device_scale_factor=2).new_page()
        phone.goto(address + at_home)
        phone.wait_for_selector("body[data-ready=yes]")
        phone.locator(".music").first.scroll_into_view_if_needed()
        phone.screenshot(path=PICTURES / "home.png")
        print(f"docs/home.png: {at_home}")
        browser.close()


def main() -> int:
    port = free_port()
    with throw_away_demonstration(PASSAGEWORK_BIND=f"127.0.0.1:{port}"):
        server = subprocess.Popen([sys.executable, "-m", "gunicorn"], cwd=ROOT)
        try:
            wait_for(f"http://127.0.0.1:{port}", server)
            take(f"http://127.0.0.1:{port}")
        finally:
            server.terminate()
            server.wait(timeout=20)
    return 0


if __name__ == "__main__":
    sys.exit(main())
