"""A picture in an instruction: what is kept of the file, where it stands, and when it goes."""

from __future__ import annotations

import base64
import io
import json
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from django.core.cache import cache
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from PIL import Image, ImageDraw
from pypdf import PdfReader

from lessons import links
from lessons.assigning import StepPlan, assign
from lessons.handing_over import hand_over, leave
from lessons.home_pages import page_of
from lessons.home_showing import page_file
from lessons.models import HomePage, Lesson, Step
from lessons.observing import observe
from lessons.sheets import draft_content, issue_sheet, make_pages
from lessons.step_pictures import StepPicture, copy_step_picture, keep_step_picture, paper_size
from lessons.step_sets import StepSet
from lessons.stepping import add_step, put_picture, remove_step
from repertoire.notation.scans import ScanError
from studio.models import Student, Teacher
from studio.personal_record import erase, export
from tests.repertoire.policy import keeps_to_its_owner
from tests.repertoire.scans import chunks, jpeg, png, sheet

pytestmark = pytest.mark.django_db
AT = datetime(2026, 3, 26, 17, 20, tzinfo=UTC)
DAY = date(2026, 3, 26)


def drawing(size=(900, 600), box=(300, 200, 600, 400)) -> bytes:
    """A box drawn on yellowish paper, as a PNG."""
    image = Image.new("RGB", size, (236, 228, 210))
    ImageDraw.Draw(image).rectangle(box, outline=(30, 30, 40), width=12)
    out = io.BytesIO()
    image.save(out, "PNG")
    return out.getvalue()


def upload(content: bytes, name="hand.png"):
    return SimpleUploadedFile(name, content)


@pytest.fixture
def work(student, passage, low):
    return assign(
        student, begun=DAY, passage=passage, marking=low, tempo_now=60, tempo_goal=90, minutes=8,
        steps=[StepPlan("Set the hand", 60, 90, ladder="metronome"), StepPlan("Slowly", 60, 72)],
    )  # fmt: skip


@pytest.fixture
def step(work) -> Step:
    return work.steps.get(text="Set the hand")


@pytest.fixture
def kept(teacher, student, step) -> StepPicture:
    picture = keep_step_picture(teacher, student, drawing(), "the hand’s frame", on_paper=True)
    put_picture(step, picture, on=DAY)
    return picture


def send(client, step, **told):
    return client.post(reverse("step_picture", args=[step.pk]), told)


def test_the_page_keeps_to_its_owner(step, client_of, teacher, colleague, stranger):
    keeps_to_its_owner(reverse("step_picture", args=[step.pk]), client_of, teacher, (colleague, stranger))
    alone = reverse("step_stave", args=[step.pk])
    assert client_of(colleague).get(alone, HTTP_HX_REQUEST="true").status_code == 404
    assert client_of(teacher).get(alone, HTTP_HX_REQUEST="true").status_code == 200
    assert client_of(teacher).get(alone).status_code == 302


def test_of_a_file_only_its_points_are_kept(client_of, teacher, step):
    told = Image.Exif()
    told[0x010E] = "Wren at home"  # its description
    content = jpeg(exif=told)
    assert b"Wren at home" in content
    answer = send(client_of(teacher), step, file=upload(content, "Wren at home.jpg"), words="bow hold")
    assert answer.status_code == 302
    step.refresh_from_db()
    stored = step.picture.image.open("rb").read()
    assert chunks(stored) == [b"IHDR", b"PLTE", b"IDAT", b"IEND"]
    assert b"Wren" not in stored
    assert "Wren" not in step.picture.image.name
    assert (step.picture.words, step.picture.student_id) == ("bow hold", step.assignment.student_id)


def test_paper_becomes_white_and_empty_edges_go(kept):
    """The box of 300 by 200 with 12 pixels of paper around it."""
    assert abs(kept.width - 325) <= 3
    assert abs(kept.height - 225) <= 3
    image = Image.open(io.BytesIO(base64.b64decode(kept.uri.partition(",")[2]))).convert("L")
    assert image.getpixel((2, 2)) == 255
    assert image.getpixel((16, 100)) < 80


def test_a_photo_keeps_its_edges_and_is_made_smaller(teacher, student):
    found = keep_step_picture(teacher, student, drawing((3000, 2000)), "bow hold", on_paper=False)
    assert (found.width, found.height) == (1000, 667)


def test_on_paper_staves_are_as_high_as_the_students_and_other_pictures_stay_in_half_a_column(teacher, student, kept):
    """Staves of 80 of 1400 or so pixels at 9 mm: the picture is 9/80 of its pixels wide, if the column takes it. [A]"""
    music = keep_step_picture(teacher, student, png(sheet()), "two lines", on_paper=True)
    width, height = paper_size(music, 180.0, 9.0)
    assert width == pytest.approx(min(180.0, music.width * 9 / 80), rel=0.02)
    assert height == pytest.approx(width * music.height / music.width)
    width, height = paper_size(kept, 180.0, 9.0)
    assert width <= 86
    assert height <= 48


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"file": upload(b"not a picture"), "words": "hand"}, "Send a PNG, a JPEG or a PDF."),
        ({"file": upload(drawing())}, "Write in a few words what it shows."),
        ({"words": "hand"}, "Choose a picture first."),
    ],
)
def test_what_is_no_picture_is_told_and_nothing_is_kept(client_of, teacher, step, told, words):
    for file in told.values():
        if hasattr(file, "seek"):
            file.seek(0)
    answer = send(client_of(teacher), step, **told)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not StepPicture.objects.exists()


def test_an_empty_page_is_told(teacher, student):
    with pytest.raises(ScanError, match="nothing to be seen"):
        keep_step_picture(teacher, student, png(Image.new("L", (800, 600), 250)), "nothing", on_paper=True)


def test_another_takes_its_place_and_the_file_of_the_first_goes(
    client_of, teacher, step, kept, django_capture_on_commit_callbacks
):
    path = Path(kept.image.path)
    with django_capture_on_commit_callbacks(execute=True):
        send(client_of(teacher), step, file=upload(drawing((500, 500), (100, 100, 400, 400))), words="another")
    assert StepPicture.objects.get().words == "another"
    assert not path.exists()
    send(client_of(teacher), step, remove="yes")
    step.refresh_from_db()
    assert step.picture is None
    assert not StepPicture.objects.exists()


def test_an_earlier_picture_is_taken_again_as_a_copy_and_a_colleagues_is_not(client_of, teacher, colleague, work, kept):
    other = work.steps.get(text="Slowly")
    page = client_of(teacher).get(reverse("step_picture", args=[other.pk])).content.decode()
    assert "Used before" in page
    assert "the hand’s frame" in page
    send(client_of(teacher), other, earlier=kept.pk)
    other.refresh_from_db()
    assert other.picture_id != kept.pk
    assert other.picture.sha256 == kept.sha256
    theirs = keep_step_picture(colleague, None, drawing((400, 400), (50, 50, 300, 300)), "theirs", on_paper=True)
    assert send(client_of(teacher), other, earlier=theirs.pk).status_code == 422


def test_a_heard_step_keeps_its_picture_and_another_step_takes_the_new_one(step, kept, lesson, teacher, student):
    observe(lesson, step.assignment, step=step, outcome="same", at=AT)
    new = keep_step_picture(teacher, student, drawing((500, 500), (100, 100, 400, 400)), "another", on_paper=True)
    put_picture(step, new, on=DAY)
    heard = Step.objects.get(text="Set the hand", ended=DAY)
    assert heard.picture == kept
    assert Step.objects.get(text="Set the hand", ended=None).picture == new


def test_it_goes_with_the_step(step, kept):
    remove_step(step, on=DAY)
    assert not StepPicture.objects.exists()


def test_it_stands_on_the_pages_of_the_teacher(client_of, teacher, work, step, kept, lesson):
    client = client_of(teacher)
    for page in (
        reverse("steps", args=[work.pk]), reverse("step", args=[step.pk]), reverse("lesson", args=[lesson.pk])
    ):  # fmt: skip
        found = client.get(page).content.decode()
        assert kept.uri in found, page
        assert 'alt="the hand’s frame"' in found, page


def test_it_is_printed_beside_its_words_with_the_ladder(student, lesson, kept):
    content = draft_content(student, lesson, at=AT)
    assert content.items[0].steps[0].ladder == (60, 63, 66, 69, 72, 76, 80, 84, 88, 90)
    pages = make_pages(content)
    reader = PdfReader(io.BytesIO(pages.pdf))
    assert len(reader.pages[0].images) >= 1
    text = " ".join(reader.pages[0].extract_text().split())
    assert "60 63 66 69 72 76 80 84 88 90" in text


def test_a_sheet_without_the_file_still_prints(student, lesson, kept, caplog):
    Path(kept.image.path).unlink()
    assert make_pages(draft_content(student, lesson, at=AT)).count == 1


def test_it_stands_on_the_page_at_home_and_in_the_file(client, student, lesson, kept):
    cache.clear()
    links.make_link(student.pk, at=AT)
    uri = kept.uri
    issued = issue_sheet(student, lesson, at=AT)
    page = page_of(issued, at=AT)
    assert page.content["items"][0]["steps"][0]["picture"] == {"uri": uri, "words": "the hand’s frame"}
    assert page.content["items"][0]["steps"][0]["ladder"] == [60, 63, 66, 69, 72, 76, 80, 84, 88, 90]
    assert uri in page_file(page)
    put_picture(Step.objects.get(picture=kept), None, on=DAY)
    token, _ = links.make_link(student.pk, at=timezone.now())
    shown = client.get(links.address("", token)).content.decode()
    assert uri in shown  # the copy made at issue stays as it was


def test_a_set_keeps_a_copy_that_belongs_to_nobody(client_of, teacher, student, work, step, kept):
    client = client_of(teacher)
    client.post(reverse("step_set_keep", args=[work.pk]), {"name": "Frame"})
    made = StepSet.objects.get()
    in_set = StepPicture.objects.get(student=None)
    assert made.steps[0]["picture"] == in_set.pk
    remove_step(step, on=DAY)
    client.post(reverse("step_set_use", args=[work.pk]), {"set": made.pk})
    again = Step.objects.get(text="Set the hand")
    assert (again.picture.student_id, again.picture.sha256) == (student.pk, kept.sha256)
    assert again.ladder == "metronome"
    client.post(reverse("step_set_remove", args=[made.pk]))
    assert list(StepPicture.objects.all()) == [again.picture]


@pytest.mark.django_db(transaction=True)
def test_it_is_part_of_the_students_record_and_erased_with_it(student, kept, lesson):
    assert "the hand’s frame" in export(student)
    path = Path(kept.image.path)
    assert path.exists()
    erase(student)
    assert not StepPicture.objects.exists()
    assert not path.exists()


def test_it_follows_the_student_to_a_colleague(teacher, colleague, student, kept, client_of, step):
    hand_over(teacher, {student.pk: colleague}, reason="moves", at=AT)
    kept.refresh_from_db()
    assert kept.teacher == colleague
    assert client_of(colleague).get(reverse("step_picture", args=[step.pk])).status_code == 200


def test_the_lesson_page_asks_no_more_for_more_pictures(
    client_of, teacher, work, lesson, kept, django_assert_max_num_queries
):
    url, client = reverse("lesson", args=[lesson.pk]), client_of(teacher)
    client.get(url)
    with CaptureQueriesContext(connection) as one:
        client.get(url)
    other = work.steps.get(text="Slowly")
    put_picture(other, keep_step_picture(teacher, work.student, drawing(), "b", on_paper=False), on=DAY)
    with django_assert_max_num_queries(len(one)):
        client.get(url)


@pytest.fixture
def passed(step, lesson) -> Step:
    """The step's goal is 90; the lesson heard 96."""
    observe(lesson, step.assignment, step=step, tempo=96, at=AT)
    return step


def test_a_step_faster_than_its_goal_takes_a_picture_and_gives_it_back(client_of, teacher, passed):
    client = client_of(teacher)
    assert send(client, passed, file=upload(drawing()), words="the frame").status_code == 302
    now = Step.objects.get(text="Set the hand", ended=None)
    assert (now.picture.words, now.tempo_now, now.tempo_goal) == ("the frame", 96, 90)
    assert send(client, now, remove="yes").status_code == 302
    assert not StepPicture.objects.exists()


def test_a_picture_that_cannot_be_given_is_not_kept(client_of, teacher, step, monkeypatch, settings):
    client = client_of(teacher)
    client.raise_request_exception = False

    def fail(*_, **__):
        raise RuntimeError

    monkeypatch.setattr("lessons.views.step_pictures.put_picture", fail)
    assert send(client, step, file=upload(drawing()), words="the frame").status_code == 500
    assert not StepPicture.objects.exists()
    assert [path for path in Path(settings.MEDIA_ROOT).rglob("*") if path.is_file()] == []


def test_a_set_that_is_refused_leaves_no_pictures(client_of, teacher, work, step, kept, settings):
    """Eleven steps stand and two are in the set: the second of them would be the thirteenth."""
    client = client_of(teacher)
    client.post(reverse("step_set_keep", args=[work.pk]), {"name": "Frame"})
    for number in range(9):
        add_step(work, StepPlan(f"Step {number}"))
    files = {path for path in Path(settings.MEDIA_ROOT).rglob("*") if path.is_file()}
    answer = client.post(reverse("step_set_use", args=[work.pk]), {"set": StepSet.objects.get().pk}, follow=True)
    assert "at most 12 steps" in answer.content.decode()
    assert Step.objects.filter(assignment=work).count() == 11
    assert StepPicture.objects.count() == 2
    assert {path for path in Path(settings.MEDIA_ROOT).rglob("*") if path.is_file()} == files


@pytest.fixture
def jonas(teacher, kept, work, client_of, passage, low) -> Student:
    """He has the picture of Mira's step too, taken over from “Used before”, on his page at home; so has a set."""
    cache.clear()
    other = Student.objects.create(teacher=teacher, first_name="Jonas")
    assign(other, begun=DAY, passage=passage, marking=low, steps=["Like this"])
    client = client_of(teacher)
    send(client, Step.objects.get(text="Like this"), earlier=kept.pk)
    client.post(reverse("step_set_keep", args=[work.pk]), {"name": "Frame"})
    links.make_link(other.pk, at=AT)
    lesson = Lesson.objects.create(teacher=teacher, student=other, number=1, starts=AT)
    page_of(issue_sheet(other, lesson, at=AT), at=AT)
    return other


def erase_page(client, student, **told):
    return client.post(reverse("student_erase", args=[student.pk]), {"first_name": "Mira", **told})


@pytest.mark.django_db(transaction=True)
def test_erasing_a_record_takes_copies_of_its_pictures_out_of_steps_sets_and_pages(
    client_of, teacher, student, jonas, kept, settings
):
    shown = client_of(teacher).get(reverse("student_erase", args=[student.pk])).content.decode()
    assert "2 copies of pictures" in shown
    assert shown.count(kept.uri) == 1
    uri = kept.uri
    assert uri in json.dumps(HomePage.objects.get(student=jonas).content)
    erase_page(client_of(teacher), student)
    assert not StepPicture.objects.exists()
    assert [path for path in Path(settings.MEDIA_ROOT).rglob("*") if path.is_file()] == []
    assert Step.objects.get(text="Like this").picture is None
    assert [step["picture"] for step in StepSet.objects.get().steps] == [None, None]
    assert uri not in json.dumps(HomePage.objects.get(student=jonas).content)


def test_copies_stay_where_the_teacher_keeps_them(client_of, teacher, student, jonas):
    erase_page(client_of(teacher), student, keep_copies="on")
    assert {picture.student for picture in StepPicture.objects.all()} == {jonas, None}


def test_a_former_teachers_copies_go_too_and_the_same_picture_of_another_teacher_stays(
    teacher, colleague, student, jonas, kept
):
    hand_over(teacher, {student.pk: colleague}, reason="moves", at=AT)
    third = Teacher.objects.create_user("una@example.org", "a long bow on an open D", name="Una", studio=teacher.studio)
    theirs = copy_step_picture(kept, third, None)
    erase(Student.objects.get(pk=student.pk))
    assert list(StepPicture.objects.all()) == [theirs]


def test_copies_of_a_teacher_who_left_are_found_with_who_took_them_over(teacher, colleague, student, jonas):
    third = Teacher.objects.create_user("una@example.org", "a long bow on an open D", name="Una", studio=teacher.studio)
    hand_over(teacher, {student.pk: colleague, jonas.pk: third}, reason="moves", at=AT)
    leave(teacher, third)
    assert StepPicture.objects.filter(teacher=third).count() == 2  # Jonas's and the set's
    erase(Student.objects.get(pk=student.pk))
    assert not StepPicture.objects.exists()
