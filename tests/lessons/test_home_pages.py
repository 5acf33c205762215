"""What can stand on a student's page: by its imports, by its queries, and by what was noted beside it."""

from __future__ import annotations

import ast
import json
import re
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.conf import settings
from django.core.cache import cache
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from lessons import links
from lessons.assigning import StepPlan, assign
from lessons.home_models import HomePage, HomeQuestion, Tick
from lessons.home_pages import page_of
from lessons.home_showing import SCRIPTS, STYLES, joined_script, page_file, worker_source
from lessons.models import Lesson, Observation
from lessons.observing import observe
from lessons.sheets import issue_sheet
from repertoire.technique.marks import Kind, Mark
from tests.lessons.conftest import make_marking

AT = datetime(2026, 3, 26, 17, 20, tzinfo=UTC)
ROOT = Path(settings.BASE_DIR)
OPENED = (
    "lessons/views/home.py",
    "lessons/links.py",
    "lessons/home_models.py",
    "lessons/home_showing.py",
    "studio/throttle.py",
)
MAY_KNOW = {
    "lessons",
    "lessons.links",
    "lessons.home_models",
    "lessons.home_showing",
    "studio.asked",
    "studio.throttle",
    "studio.visitors",
}


@pytest.fixture
def sheet(teacher, student, passage, low, lesson):
    cache.clear()
    Lesson.objects.filter(pk=lesson.pk).update(
        note="SHARED NOTE", private_note="PRIVATE NOTE", sentence="Sing it first."
    )
    lesson.refresh_from_db()
    student.private_notes = "PRIVATE ABOUT MIRA"
    student.save()
    work = assign(
        student, begun=AT.date(), passage=passage, marking=low, steps=[StepPlan("Slowly", 60, 72, 4)],
        tempo_now=60, tempo_goal=80, minutes=12, listening_point="the last note",
    )  # fmt: skip
    observe(lesson, work, at=AT, outcome="not yet", text="PRIVATE OBSERVATION", shared=False)
    observe(lesson, work, at=AT, outcome="better", text="SHARED OBSERVATION", shared=True)
    return issue_sheet(student, lesson, at=AT)


def imports_of(path: str) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse((ROOT / path).read_text())):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0
            found.add(node.module)
    return found


@pytest.mark.parametrize("path", OPENED)
def test_what_a_link_opens_imports_nothing_of_lessons_pieces_or_people(path):
    own = {name for name in imports_of(path) if name.split(".")[0] in ("lessons", "repertoire", "studio")}
    assert own <= MAY_KNOW


def test_a_page_is_served_from_the_copy_and_what_came_back_alone(client, sheet, student):
    page_of(sheet, at=AT)
    token, _ = links.make_link(student.pk, at=AT.replace(year=2999))
    with CaptureQueriesContext(
        connection,
    ) as asked:
        assert client.get(reverse("home", args=[links.grouped(token)])).status_code == 200
    tables = {table for query in asked for table in re.findall(r'(?:FROM|JOIN|UPDATE|INTO) "(\w+)"', query["sql"])}
    assert tables == {"lessons_studentlink", "lessons_homepage", "lessons_tick", "lessons_homequestion"}
    assert len(asked) == 4


def test_nothing_noted_in_a_lesson_is_in_the_copy(sheet):
    assert Observation.objects.count() == 2
    words = json.dumps(page_of(sheet, at=AT).content)
    for private in ("PRIVATE", "SHARED", "Holt", "ada@example.org"):
        assert private not in words
    assert "Sing it first." in words


def test_what_came_back_names_no_row_of_the_lessons():
    for table in (Tick, HomeQuestion, HomePage):
        pointed = {field.related_model._meta.label for field in table._meta.get_fields() if field.many_to_one}
        assert pointed <= {"studio.Student", "lessons.Sheet"}


def test_the_copy_has_drawings_for_two_widths_and_the_notes_in_time(sheet):
    content = page_of(sheet, at=AT).content
    music = content["items"][0]["music"]
    assert sorted(music["drawings"]) == ["narrow", "wide"]
    assert all('data-address="b1n1"' in systems[0] for systems in music["drawings"].values())
    # D4 E4 F sharp 4 G4 as quarters, A4 and D4 as halves: MIDI numbers and onsets written out.
    assert [(row[0], row[2], row[4]) for row in music["schedule"]["notes"]] == [
        ("b1n1", 0.0, 62), ("b1n2", 1.0, 64), ("b1n3", 2.0, 66), ("b1n4", 3.0, 67),
        ("b2n1", 4.0, 69), ("b2n2", 6.0, 62),
    ]  # fmt: skip
    assert (music["tempo"]["now"], music["tempo"]["goal"], music["start"]) == (60, 80, 60)
    assert [day["words"] for day in content["days"]][:2] == ["Fri 27", "Sat 28"]
    assert [drone["name"] for drone in content["items"][0]["drones"]][:4] == ["A4", "D4", "G3", "C3"]


def test_ids_of_all_drawings_of_a_page_differ(sheet):
    html = page_file(page_of(sheet, at=AT))
    ids = re.findall(r'\bid="([^"]+)"', html)
    assert len(ids) > 20
    assert len(ids) == len(set(ids))


def test_a_changed_marking_or_name_does_not_reach_a_page_that_was_made(sheet, student, passage):
    before = page_of(sheet, at=AT).content
    work = student.assignments.get()
    make_marking(passage, 9, "New", Mark(Kind.FINGER, "b2n1", "4"))
    student.first_name = "Miranda"
    student.save()
    work.steps.update(text="Fast")
    assert page_of(sheet, at=AT).content == before


def test_a_step_with_a_practice_stave_is_drawn_and_played(sheet, student, lesson):
    work = student.assignments.get()
    work.steps.create(text="Open strings", recipe={"format": 1, "kind": "right hand", "marking": 0}, position=9)
    second = issue_sheet(student, lesson, at=AT)
    steps = page_of(second, at=AT).content["items"][0]["steps"]
    assert steps[0]["music"] is None
    played = steps[1]["music"]["schedule"]["notes"]
    assert {row[4] for row in played} <= {69, 62, 55, 48}  # A4 D4 G3 C3
    assert played[-1][2] + played[-1][3] <= 8


def test_the_file_needs_nothing_from_outside(sheet):
    html = page_file(page_of(sheet, at=AT))
    outside = re.findall(r'(?:src|href|action)="(?!data:|#)([^"]*)"', html)
    assert outside == []
    assert "url(" not in "".join((ROOT / "static" / name).read_text() for name in STYLES)
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]+)"', html)[1]
    assert policy.startswith("default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'sha256-")
    assert "Mira" in html
    assert "Holt" not in html


def test_the_joined_script_has_no_imports_left_and_no_name_twice():
    script = joined_script()
    assert not re.search(r"^\s*(import|export)\b", script, flags=re.MULTILINE)
    names = re.findall(r"^(?:async )?(?:function|class|const|let) (\w+)", script, flags=re.MULTILINE)
    assert len(names) == len(set(names))
    for path in SCRIPTS:
        for name in re.findall(r"^import \{ ([^}]+) \}", (ROOT / "static" / path).read_text(), flags=re.MULTILINE):
            assert set(name.split(", ")) <= set(names)


def test_the_workers_version_changes_with_the_sheet_and_its_files_are_there(client, sheet, lesson, student):
    first = worker_source(page_of(sheet, at=AT), "/home/x/")
    later = worker_source(page_of(issue_sheet(student, lesson, at=AT.replace(day=27)), at=AT), "/home/x/")
    version = re.compile(r'^const VERSION = "(.+)";$', re.MULTILINE)
    assert version.search(first)[1] != version.search(later)[1]
    files = json.loads(re.search(r"^const FILES = (.+);$", first, flags=re.MULTILINE)[1])
    assert files[0] == "/home/x/"
    for path in files[1:]:
        assert (ROOT / path.lstrip("/")).is_file()


def test_the_file_is_the_teachers_to_hand_on(client, client_of, teacher, colleague, stranger, sheet):
    address = reverse("home_file", args=[sheet.pk])
    answer = client_of(teacher).get(address)
    assert answer.status_code == 200
    assert answer.headers["Content-Disposition"] == 'attachment; filename="Mira sheet 1.html"'
    assert client_of(colleague).get(address).status_code == 404
    assert client_of(stranger).get(address).status_code == 404
    assert client.get(address).status_code == 302
    assert client_of(teacher).post(address).status_code == 405
    assert not HomePage.objects.exists()  # handing on a file opens no page
