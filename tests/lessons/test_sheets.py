"""Practice sheets: what they say, how they lie on paper, and that a reprint is the issued sheet."""

from __future__ import annotations

import hashlib
import itertools
import json
import re
import shutil
import subprocess
from base64 import b64decode
from datetime import UTC, date, datetime, timedelta
from io import BytesIO
from pathlib import Path

import pytest
from django.conf import settings
from django.urls import reverse
from pypdf import PdfReader

from lessons.assigning import StepPlan, assign, change_marking, end
from lessons.models import Lesson, ListeningPoint, Sheet
from lessons.sheet_content import Content, SheetError, gather
from lessons.sheet_drawing import PAPER_MM, Pages, draw_item, print_pages, sheet_html, text_pt
from lessons.sheets import (
    DamagedSheet,
    content_of,
    download_name,
    draft_content,
    issue_sheet,
    make_pages,
    sheet_lesson,
    sheet_pdf_bytes,
)
from repertoire.bounds import read_bounds
from repertoire.excerpts import movement_notes
from repertoire.importing import add_part, make_passage
from repertoire.markings import make_marking, marks_of, printed_marking
from repertoire.models import Piece
from repertoire.technique.marks import Kind, Mark
from studio.models import Student

AT = datetime(2026, 3, 10, 17, 30, tzinfo=UTC)


@pytest.fixture
def slur(teacher):
    """The Long Slur: sixteen bars for viola, from the project's own studies."""
    piece = Piece.objects.create(teacher=teacher, title="The Long Slur", composer="Passagework studies")
    path = Path(settings.BASE_DIR) / "fixtures/music/the-long-slur.musicxml"
    part = add_part(piece, path.read_bytes(), path.name, 1, edition="First set")
    movement = part.revision.movements.select_related("revision").get()
    line, _ = movement_notes(movement)
    return make_passage(movement, teacher, read_bounds("1-8", line), title="Opening")


@pytest.fixture
def lesson(teacher, student):
    starts = datetime(2026, 3, 10, 16, 30, tzinfo=UTC)
    return Lesson.objects.create(
        teacher=teacher, student=student, number=4, starts=starts, sentence="Three beats, three quarters of the bow."
    )


@pytest.fixture
def work(teacher, student, slur, lesson):
    marks = (Mark(Kind.BOW, "b1n1", "up"), Mark(Kind.FINGER, "b2n1", "2"))
    marking = make_marking(slur, teacher, marks, name="Begin up", origin="own")
    return assign(
        student,
        begun=date(2026, 3, 10),
        passage=slur,
        marking=marking,
        steps=[StepPlan("Slowly, saving bow", 60, 72, 4)],
        tempo_now=60,
        tempo_goal=80,
        minutes=12,
        listening_point="the last quarter",
    )


def text_of(pdf: bytes) -> str:
    return "\n".join(page.extract_text() for page in PdfReader(BytesIO(pdf)).pages)


def test_content_says_what_was_decided_and_nothing_private(student, lesson, work):
    student.private_notes = "tires soon"
    student.save()
    lesson.private_note = "spoke with the family"
    lesson.save()
    content = gather(student, lesson, number=1, at=AT)
    assert (content.student, content.instrument, content.lesson) == ("Mira", "14 inch viola", 4)
    item = content.items[0]
    assert (item.title, item.bars, item.piece) == ("The Long Slur: Opening", "1–8", "Passagework studies")
    # The planned minutes stand: the only step takes no more than they give.
    assert (item.marking_name, item.minutes, item.listening) == ("Begin up", 12, "the last quarter")
    assert [(s.text, s.tempo.now, s.tempo.goal, s.minutes) for s in item.steps] == [("Slowly, saving bow", 60, 72, 4)]
    assert content.days[0] == "Wed 11"
    assert len(content.days) == 7
    for private in ("Holt", "tires soon", "spoke with the family"):
        assert private not in repr(content)
    assert Content.from_json(content.as_json()) == content


def test_a_sheet_needs_something_to_practise(student, lesson):
    with pytest.raises(SheetError, match="assign a passage first"):
        gather(student, lesson, number=1, at=AT)


def test_a_sheet_holds_at_most_eight_items(teacher, student, lesson):
    piece = Piece.objects.create(teacher=teacher, title="Scales")
    for n in range(9):
        assign(student, begun=date(2026, 3, 10), piece=piece, bars=f"{n + 1}")
    with pytest.raises(SheetError, match="at most 8"):
        gather(student, lesson, number=1, at=AT)


def test_breaks_come_sooner_for_a_child(teacher, student, lesson):
    piece = Piece.objects.create(teacher=teacher, title="Scales")
    for n in range(3):
        assign(student, begun=date(2026, 3, 10), piece=piece, bars=f"{n + 1}", minutes=11)
    student.birth_year = 2019
    assert [i.break_after for i in gather(student, lesson, number=1, at=AT).items] == [True, True, False]
    student.birth_year = 1980
    assert [i.break_after for i in gather(student, lesson, number=1, at=AT).items] == [False, True, False]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_paper_size_and_embedded_fonts_and_tags(teacher, student, lesson, work, paper):
    teacher.studio.paper = paper
    teacher.studio.save()
    student.teacher.refresh_from_db()
    pages = print_pages(sheet_html(gather(student, lesson, number=3, at=AT)))
    reader = PdfReader(BytesIO(pages.pdf))
    width, height = (float(side) / 72 * 25.4 for side in reader.pages[0].mediabox[2:])
    assert (width, height) == pytest.approx(PAPER_MM[paper], abs=0.1)
    assert pages.count == len(reader.pages) == 1
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]
    fonts = [font.get_object() for page in reader.pages for font in page["/Resources"]["/Font"].values()]
    assert fonts
    for font in fonts:
        inner = font["/DescendantFonts"][0].get_object() if "/DescendantFonts" in font else font
        assert any(name.startswith("/FontFile") for name in inner["/FontDescriptor"])
    words = text_of(pages.pdf)
    for expected in ("Mira", "Opening", "Slowly, saving bow", "the last quarter", "medical professional", "50 mm"):
        assert expected in words


def test_the_excerpt_has_alternative_text(student, lesson, work):
    html = sheet_html(gather(student, lesson, number=1, at=AT))
    assert re.search(r'<img src="data:image/svg\+xml;base64,[^"]+" alt="The Long Slur: Opening, bars 1–8', html)
    pdf = print_pages(html).pdf
    assert "The Long Slur: Opening, bars 1–8".encode("utf-16-be").hex() in pdf_alternatives(pdf)


def pdf_alternatives(pdf: bytes) -> str:
    """All alternative texts of a tagged PDF, as hex of UTF-16."""
    found = []
    for obj in PdfReader(BytesIO(pdf)).trailer["/Root"]["/StructTreeRoot"]["/K"]:
        stack = [obj]
        while stack:
            node = stack.pop().get_object()
            if not hasattr(node, "get"):
                continue
            if "/Alt" in node:
                found.append(str(node["/Alt"]).encode("utf-16-be").hex())
            kids = node.get("/K", [])
            stack += list(kids) if isinstance(kids, list) else [kids]
    return " ".join(found)


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="poppler is not installed")
@pytest.mark.parametrize("staff_mm", [7.0, 11.0])
def test_the_staff_is_printed_at_its_height_in_millimetres(student, lesson, work, staff_mm, tmp_path):
    """Measured on the rendered page: the five lines of the first stave, at 600 dots an inch."""
    from PIL import Image

    student.staff_height = staff_mm
    pdf = tmp_path / "sheet.pdf"
    pdf.write_bytes(print_pages(sheet_html(gather(student, lesson, number=1, at=AT))).pdf)
    subprocess.run(["pdftoppm", "-r", "600", "-gray", "-singlefile", pdf, tmp_path / "sheet"], check=True)
    page = Image.open(tmp_path / "sheet.pgm")
    # A column of dots well inside the staff but clear of notes is crossed by five thin lines at equal steps.
    rows = staff_line_rows(page, page.width // 3)
    gaps = [b - a for a, b in itertools.pairwise(rows)]
    for first in range(len(rows) - 4):
        span = gaps[first : first + 4]
        if max(span) - min(span) <= 3 and sum(span) > 100:
            assert sum(span) / 600 * 25.4 == pytest.approx(staff_mm, abs=0.12)
            return
    pytest.fail("no stave was found on the page")


def staff_line_rows(page, near: int) -> list[int]:
    """Middles of the dark rows that run on unbroken for 4 mm around a column."""
    from PIL import Image

    wide = page.crop((near, 0, near + 95, page.height))
    thin = wide.resize((1, page.height), Image.Resampling.BOX)
    dark = [y for y in range(page.height) if thin.getpixel((0, y)) < 120]
    rows: list[list[int]] = []
    for y in dark:
        if rows and y - rows[-1][-1] <= 1:
            rows[-1].append(y)
        else:
            rows.append([y])
    return [sum(row) // len(row) for row in rows if len(row) <= 12]


def test_nothing_outside_is_loaded(student, lesson, work):
    html = sheet_html(gather(student, lesson, number=1, at=AT))
    assert not re.findall(r'(?:src|href)="(?!data:)', html)
    sneaky = html.replace("</body>", '<img src="file:///etc/hostname" alt="outside"></body>')
    assert "outside" in text_of(print_pages(sneaky).pdf)  # its alternative text: the file was not read


def test_an_issued_sheet_is_kept_and_reprinted_byte_for_byte(student, lesson, work):
    sheet = issue_sheet(student, lesson, at=AT)
    pdf = sheet_pdf_bytes(sheet)
    assert sheet.number == 1
    assert hashlib.sha256(pdf).hexdigest() == sheet.sha256
    assert list(sheet.markings.all()) == [work.marking]
    assert content_of(sheet).items[0].marking_name == "Begin up"
    # Everything moves on; the sheet doesn't.
    student.first_name = "Miranda"
    student.staff_height = 11
    student.save()
    end(work, on=date(2026, 3, 17))
    assert sheet_pdf_bytes(Sheet.objects.get()) == pdf
    assert download_name(sheet).endswith("sheet 1 2026-03-10.pdf")


def test_a_damaged_or_missing_file_is_told_not_printed(student, lesson, work, client_of, teacher):
    sheet = issue_sheet(student, lesson, at=AT)
    path = Path(settings.SHEETS_ROOT) / sheet.file_name
    path.write_bytes(path.read_bytes() + b"%")
    with pytest.raises(DamagedSheet, match="not the one that was issued"):
        sheet_pdf_bytes(sheet)
    response = client_of(teacher).get(reverse("sheet_pdf", args=[sheet.pk]))
    assert response.status_code == 500
    assert "not the one that was issued" in response.content.decode()
    path.unlink()
    with pytest.raises(DamagedSheet, match="missing"):
        sheet_pdf_bytes(sheet)


def test_numbers_count_per_student(student, lesson, work):
    assert [issue_sheet(student, lesson, at=AT).number for _ in range(3)] == [1, 2, 3]


def test_too_many_pages_are_refused_and_nothing_is_stored(teacher, student, lesson, slur):
    line, _ = movement_notes(slur.movement)
    student.staff_height = 14
    student.save()
    for n in range(8):
        passage = make_passage(slur.movement, teacher, read_bounds("1-16", line), title=f"Copy {n}")
        assign(student, begun=date(2026, 3, 10), passage=passage, marking=printed_marking(passage, teacher))
    with pytest.raises(SheetError, match=r"takes \d+ pages and a sheet has at most 3"):
        issue_sheet(student, lesson, at=AT)
    assert not Sheet.objects.exists()
    assert not Path(settings.SHEETS_ROOT).exists() or not list(Path(settings.SHEETS_ROOT).iterdir())


def test_preview_then_issue_then_print(client_of, teacher, student, lesson, work):
    browser = client_of(teacher)
    page = browser.get(reverse("sheet_preview", args=[student.pk]))
    assert page.status_code == 200
    assert not Sheet.objects.exists()
    frame = browser.get(reverse("sheet_preview_page", args=[student.pk]))
    assert "Not yet issued" in frame.content.decode()
    answer = browser.post(reverse("sheet_issue", args=[student.pk]), {"chosen": "1", "item": work.pk, "notes": work.pk})
    sheet = Sheet.objects.get()
    assert answer.headers["Location"] == reverse("sheet", args=[sheet.pk])
    printed = browser.get(reverse("sheet_pdf", args=[sheet.pk]))
    assert printed.headers["Content-Type"] == "application/pdf"
    assert printed.content == sheet_pdf_bytes(sheet)
    assert "no-store" in printed.headers["Cache-Control"]


def test_an_item_can_be_listed_without_its_notation(client_of, teacher, student, lesson, work):
    client_of(teacher).post(reverse("sheet_issue", args=[student.pk]), {"chosen": "1", "item": work.pk})
    assert content_of(Sheet.objects.get()).items[0].with_excerpt is False


def test_choosing_nothing_says_so_and_keeps_the_page(client_of, teacher, student, lesson, work):
    answer = client_of(teacher).post(reverse("sheet_issue", args=[student.pk]), {"chosen": "1"})
    assert answer.status_code == 422
    assert "nothing to practise yet" in answer.content.decode()


def test_sheets_of_a_day_in_one_go(client_of, teacher, student, lesson, work):
    browser = client_of(teacher)
    day = {"day": "2026-03-10"}
    page = browser.get(reverse("sheets_of_day"), day)
    assert "no sheet yet" in page.content.decode()
    assert browser.get(reverse("sheets_of_day_pdf"), day).status_code == 404
    browser.post(reverse("sheets_of_day") + "?day=2026-03-10", {"student": student.pk})
    issued = Sheet.objects.get()
    whole = browser.get(reverse("sheets_of_day_pdf"), day)
    assert len(PdfReader(BytesIO(whole.content)).pages) == issued.pages
    assert "Print all 1" in browser.get(reverse("sheets_of_day"), day).content.decode()


def test_last_weeks_sheet_is_not_tomorrows(client_of, teacher, student, lesson, work):
    issue_sheet(student, lesson, at=AT)
    Lesson.objects.create(teacher=teacher, student=student, number=99, starts=lesson.starts + timedelta(days=7))
    browser, day = client_of(teacher), {"day": "2026-03-17"}
    page = browser.get(reverse("sheets_of_day"), day).content.decode()
    assert "no sheet yet" in page
    assert "last: <a" in page
    assert f'value="{student.pk}" checked' in page
    assert "Print" not in page
    assert browser.get(reverse("sheets_of_day_pdf"), day).status_code == 404


@pytest.mark.parametrize("name", ["sheets", "sheet_preview", "sheet_preview_page", "history", "report"])
def test_pages_of_a_student_are_their_teachers_alone(
    name, client, client_of, teacher, colleague, stranger, student, work
):
    address = reverse(name, args=[student.pk])
    assert client_of(teacher).get(address).status_code == 200
    assert client_of(colleague).get(address).status_code == 404
    assert client_of(stranger).get(address).status_code == 404
    assert client.get(address).status_code == 302
    assert client_of(teacher).post(address).status_code == (200 if name == "report" else 405)
    assert client_of(teacher).put(address).status_code == 405
    assert client_of(colleague).post(address).status_code in (404, 405)


@pytest.mark.parametrize("name", ["sheet", "sheet_pdf"])
def test_a_sheet_is_its_teachers_alone(name, client, client_of, teacher, colleague, stranger, student, lesson, work):
    address = reverse(name, args=[issue_sheet(student, lesson, at=AT).pk])
    assert client_of(teacher).get(address).status_code == 200
    assert client_of(colleague).get(address).status_code == 404
    assert client_of(stranger).get(address).status_code == 404
    assert client.get(address).status_code == 302
    assert client_of(teacher).post(address).status_code == 405


def test_only_the_teacher_issues(client, client_of, teacher, colleague, stranger, student, work):
    address = reverse("sheet_issue", args=[student.pk])
    assert client_of(colleague).post(address).status_code == 404
    assert client_of(stranger).post(address).status_code == 404
    assert client.post(address).status_code == 302
    assert client_of(teacher).get(address).status_code == 405
    assert not Sheet.objects.exists()


def test_a_sheet_printed_late_is_for_the_days_to_come(student, lesson, work):
    content = gather(student, lesson, number=1, at=datetime(2026, 3, 16, 9, 0, tzinfo=UTC))
    assert (content.days[0], content.days[-1]) == ("Tue 17", "Mon 23")
    assert (content.lesson, content.late, content.lesson_date) == (4, True, "2026-03-16")
    assert "After lesson 4" in sheet_html(content)


def test_a_sheet_printed_the_evening_before_is_for_the_days_after_the_lesson(student, lesson, work):
    content = gather(student, lesson, number=1, at=datetime(2026, 3, 9, 20, 0, tzinfo=UTC))
    assert content.days[0] == "Wed 11"
    assert not content.late


def test_a_lesson_finished_early_is_the_one_the_sheet_goes_with(teacher, student, lesson, work):
    later = Lesson.objects.create(
        teacher=teacher, student=student, number=5, starts=datetime(2026, 3, 17, 16, 30, tzinfo=UTC)
    )
    assert sheet_lesson(student, AT) == lesson
    later.finished = AT
    later.save()
    assert sheet_lesson(student, AT) == later


def test_the_lesson_asked_for_is_used_if_it_is_this_students(client_of, teacher, student, lesson, work):
    other = Student.objects.create(teacher=teacher, first_name="Ben")
    theirs = Lesson.objects.create(teacher=teacher, student=other, number=1, starts=AT, sentence="not for Mira")
    later = Lesson.objects.create(
        teacher=teacher,
        student=student,
        number=5,
        starts=datetime(2027, 3, 17, 16, 30, tzinfo=UTC),
        sentence="for later",
    )
    address = reverse("sheet_preview_page", args=[student.pk])
    assert "for later" in client_of(teacher).get(address, {"lesson": later.pk}).content.decode()
    assert "not for Mira" not in client_of(teacher).get(address, {"lesson": theirs.pk}).content.decode()


def test_a_passage_called_by_its_bars_is_not_told_twice(student, lesson, work):
    work.passage.title = f"Bars {work.passage.bars}"
    work.passage.save()
    assert gather(student, lesson, number=1, at=AT).items[0].title == "The Long Slur"


def test_words_grow_with_the_staves_of_beginners():
    """11 pt to 8.5 mm, then in proportion, a fifth more at most. [definition]"""
    assert [text_pt(mm) for mm in (7.0, 8.5, 9.35, 11.0, 12.0)] == [11.0, 11.0, 12.1, 13.2, 13.2]


def test_a_sheet_is_set_closer_where_that_saves_a_page_and_lets_items_go_on_overleaf(
    monkeypatch, student, passage, printed
):
    """First as usual, then closer; only what still takes too many pages when items may be parted is refused."""
    assign(student, begun=AT.date(), passage=passage, marking=printed)
    content = draft_content(student, None, at=AT)
    for counts, wanted in (([1], 1), ([2, 2], 2), ([2, 1], 1), ([4, 3], 3), ([4, 4, 3], 3)):
        left = list(counts)
        monkeypatch.setattr("lessons.sheets.print_pages", lambda html, left=left: Pages(b"%PDF", left.pop(0), 270))
        assert make_pages(content).count == wanted
        assert left == []
    monkeypatch.setattr("lessons.sheets.print_pages", lambda html: Pages(b"%PDF", 4))
    with pytest.raises(SheetError, match="at most 3"):
        make_pages(content)


def test_flagged_notes_stand_under_listen_without_what_was_written_to_them(student, passage, printed, lesson):
    work = assign(student, begun=AT.date(), passage=passage, marking=printed, listening_point="the last note")
    for place, theme, settled in (
        ("bar 1, beat 1, D4", "tone", AT), ("bar 1, beat 2, E4", "intonation", None), ("bar 2, beat 1, A4", "", None)
    ):  # fmt: skip
        ListeningPoint.objects.create(
            student=student, lesson=lesson, assignment=work, address="b1n1", place=place, theme=theme, settled=settled,
            text="PRIVATE WORDS",
        )  # fmt: skip
    content = draft_content(student, lesson, at=AT)
    assert content.items[0].to_hear == "the last note; bar 1, beat 2, E4: intonation; bar 2, beat 1, A4"
    assert Content.from_json(json.loads(json.dumps(content.as_json()))) == content
    text = " ".join(PdfReader(BytesIO(make_pages(content).pdf)).pages[0].extract_text().split())
    assert "bar 1, beat 2, E4: intonation" in text
    assert "PRIVATE" not in text


def test_a_title_is_not_told_twice(student, teacher):
    from tests.lessons.conftest import make_passage as short

    assign(student, begun=AT.date(), passage=short(teacher, title="Study in crossings", piece="Study in Crossings"))
    assert draft_content(student, None, at=AT).items[0].title == "Study in Crossings"


def test_a_passage_called_by_its_bars_tells_its_movement(student, teacher):
    from repertoire.models import Movement
    from tests.lessons.conftest import make_passage as short

    passage = short(teacher, title="Bars 1–16", piece="Quartet in A")
    first = passage.movement
    first.title = "I. Allegro"
    first.save()
    work = assign(student, begun=AT.date(), passage=passage)
    assert draft_content(student, None, at=AT).items[0].title == "Quartet in A"
    Movement.objects.create(revision=first.revision, number=2, bar_count=8)
    item = draft_content(student, None, at=AT).items[0]
    assert (item.title, item.piece) == ("Quartet in A: I. Allegro", "Ada Fell")
    first.title = "I. Allegro moderato e sempre con espressione assai"
    first.save()
    item = draft_content(student, None, at=AT).items[0]
    assert (item.title, item.piece) == ("Quartet in A", f"Ada Fell, {first.title}")
    assert work.pk == item.assignment


def test_printed_marks_are_black_where_there_are_none_of_the_teachers_own(student, slur, teacher):
    printed = printed_marking(slur, teacher)
    work = assign(student, begun=AT.date(), passage=slur, marking=printed)
    grey = "#6b6b6b"

    def drawn():
        (system, *_) = draw_item(*(lambda c: (c, c.items[0], 1))(draft_content(student, None, at=AT))).systems
        return b64decode(system.uri.partition(",")[2]).decode()

    assert grey not in drawn()
    own = make_marking(slur, teacher, (*marks_of(printed), Mark(Kind.FINGER, "b1n1", "3")), name="Mine", origin="own")
    change_marking(work, own, at=AT, reason="hand")
    assert grey in drawn()


def test_an_item_takes_at_least_as_long_as_its_steps(student, passage, printed):
    """4 + 4 + 4 are 12, though 8 were planned; 14 planned leave 2 for the whole. [A]"""
    steps = [StepPlan(words, minutes=4) for words in ("Bare", "With the turn", "With the trill")]
    work = assign(student, begun=AT.date(), passage=passage, marking=printed, steps=steps, minutes=8)

    def minutes() -> int:
        work.save()
        return draft_content(student, None, at=AT).items[0].minutes

    assert minutes() == 12
    work.minutes = 14
    assert minutes() == 14
    work.minutes = None
    assert minutes() == 12
    work.steps.all().delete()
    assert minutes() == 5
