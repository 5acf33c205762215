"""Work on a passage whose excerpt is a picture: assigned, seen in the lesson, printed, and taken home."""

import io

import pytest
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from lessons.assigning import assign
from lessons.home_pages import page_content
from lessons.models import Lesson
from lessons.observing import ObserveError, flag
from lessons.sheet_drawing import draw_item, sheet_html
from lessons.sheets import draft_content, issue_sheet, sheet_pdf_bytes
from repertoire.markings import make_marking, printed_marking
from repertoire.models import Marking
from repertoire.technique.marks import Kind, Mark
from tests.repertoire.scans import picture_passage

pytestmark = pytest.mark.django_db


@pytest.fixture
def lesson(student):
    return Lesson.objects.create(teacher=student.teacher, student=student, number=1, starts=timezone.now(), minutes=30)


@pytest.fixture
def work(teacher, student, lesson):
    passage = picture_passage(teacher)
    marking = make_marking(
        passage,
        teacher,
        [Mark(Kind.BOW, "x0.1250y0.2000", "down"), Mark(Kind.FINGER, "x0.3000y0.5500", "3")],
        name="Begin down",
        origin=Marking.Origin.OWN,
        parent=printed_marking(passage, teacher),
    )
    return assign(student, begun=timezone.localdate(), passage=passage, marking=marking, lesson=lesson)


def content_of(student, lesson):
    return draft_content(student, lesson, at=timezone.now())


def test_the_lesson_and_the_student_show_it(client_of, teacher, student, lesson, work):
    client = client_of(teacher)
    for url in (reverse("lesson", args=[lesson.pk]), reverse("student", args=[student.pk])):
        page = client.get(url).content.decode()
        assert page.count('class="scan"') == 1
        assert "stave 1, 12 % across, above: down-bow" in page
    assert 'class="scan"' in client.get(reverse("work_excerpt", args=[work.pk])).content.decode()


def test_each_marking_is_shown_when_it_is_assigned(client_of, teacher, student, work):
    work.delete()
    page = client_of(teacher).get(reverse("assign", args=[student.pk]), {"passage": work.passage_id}).content.decode()
    assert page.count('class="scan"') == 2


def test_no_note_is_flagged_on_a_picture(lesson, work):
    with pytest.raises(ObserveError, match="no notation"):
        flag(lesson, work, at=timezone.now(), address="b1n1", theme="", text="")


def test_it_is_printed_as_high_as_the_students_staves(student, lesson, work):
    student.staff_height = 7
    student.save()
    content = content_of(student, lesson)
    drawn = draw_item(content, content.items[0], 1)
    (system,) = drawn.systems
    # Staves of 80 of 1600 px, 7 mm high: 140 mm wide, 61.25 mm high [A].
    assert (round(system.width_mm, 2), round(system.height_mm, 2)) == (140.0, 61.25)
    assert system.alt.startswith("Lantern Study: From print, bars 1–4. Picture of the printed music with 2 signs: ")
    assert system.alt.endswith("stave 1, 12 % across, above: down-bow; stave 2, 30 % across, above: finger 3")
    assert "stave 2, 30 % across, above: finger 3" in sheet_html(content)


def test_the_issued_sheet_carries_it_at_its_own_resolution(student, lesson, work):
    sheet = issue_sheet(student, lesson, at=timezone.now())
    (page,) = PdfReader(io.BytesIO(sheet_pdf_bytes(sheet))).pages
    assert [(i.image.width, i.image.height) for i in page.images] == [(1600, 700)]


def test_the_page_at_home_shows_it_without_asking_the_studio(student, lesson, work):
    sheet = issue_sheet(student, lesson, at=timezone.now())
    (item,) = page_content(content_of(student, lesson), sheet)["items"]
    assert item["music"] is None
    assert item["instead"] == ""
    assert item["picture"].count("data:image/png;base64,") == 1
    assert "/repertoire/" not in item["picture"]


def test_no_other_bars_are_offered_of_a_picture_alone(client_of, teacher, passage, work):
    client, offered = client_of(teacher), "make a new passage from this one"
    assert offered not in client.get(reverse("passage_edit", args=[work.passage_id])).content.decode()
    assert offered in client.get(reverse("passage_edit", args=[passage.pk])).content.decode()


def test_a_sheet_begins_no_line_with_a_dot(client_of, teacher, student, lesson, work):
    sheet = issue_sheet(student, lesson, at=timezone.now())
    page = client_of(teacher).get(reverse("sheet", args=[sheet.pk])).content.decode()
    assert "Begin down" in page
    assert '<p class="soft"> ·' not in page
