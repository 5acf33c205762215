"""A student's passages laid over one part: who owns which note, what disagrees, page turns."""

from datetime import date
from fractions import Fraction as F

import pytest

from lessons.assigning import end
from lessons.merged_part import merge, parts_in_use, seams
from lessons.models import Assignment
from lessons.page_turns import Block, plan_pages, rest_after
from lessons.part_pages import lay_out, part_html, part_pdf
from repertoire.models import ExcerptPicture, Movement, Part, Passage, Piece, Revision
from repertoire.notation.musicxml import read_part
from repertoire.notation.storing import line_to_json
from repertoire.technique.marks import Kind, Mark, dump
from tests.notation.schema import faults
from tests.repertoire.policy import keeps_to_its_owner
from tests.technique.lines import line

from .conftest import make_marking

pytestmark = pytest.mark.django_db

EIGHT = "D4 q E4 q F#4 q G4 q | A4 h D4 h | E4 q F#4 q G4 q A4 q | B4 w | r w | C5 h B4 h | A4 q G4 q F#4 q E4 q | D4 w"


def bow(at, value):
    return Mark(Kind.BOW, at, value)


@pytest.fixture
def part(teacher) -> Part:
    piece = Piece.objects.create(teacher=teacher, title="Mill Stream", composer="Ada Fell")
    part = Part.objects.create(piece=piece, name="Viola", instrument="viola", rights="Our own")
    revision = Revision.objects.create(part=part, source="musicxml", sha256="0" * 64)
    movement = Movement(revision=revision, bar_count=8)
    movement.line = line_to_json(line("4/4", "alto", EIGHT))
    movement.printed = dump([bow("b1n1", "down"), bow("b3n1", "down"), bow("b7n1", "down")])
    movement.save()
    return part


@pytest.fixture
def assigned(teacher, student, part):
    """Give the student bars with marks: `assigned(1, 3, day, marks…)`."""

    def give(start, end, day, *marks, title="", student=student, marked=True):
        movement = part.revision.movements.get()
        passage = Passage.objects.create(
            teacher=teacher, movement=movement, title=title or f"Bars {start} to {end}", start_bar=start, end_bar=end,
            first_number=str(start), last_number=str(end),
        )  # fmt: skip
        marking = make_marking(passage, 1, f"Marks of {start}", *marks) if marked else None
        return Assignment.objects.create(
            student=student, piece=part.piece, passage=passage, marking=marking, begun=date(2026, 3, day)
        )

    return give


def test_a_passage_owns_its_notes_and_the_rest_stays_as_printed(student, part, assigned):
    assigned(2, 3, 5, bow("b2n1", "up"), Mark(Kind.FINGER, "b3n1", "2"))
    merged = merge(student, part)
    assert merged.movements[0].marks == (
        bow("b1n1", "down"),
        bow("b2n1", "up"),
        bow("b7n1", "down"),
        Mark(Kind.FINGER, "b3n1", "2"),
    )
    assert merged.disagreements == ()


def test_where_passages_overlap_the_later_wins_and_both_values_are_listed(student, part, assigned):
    assigned(1, 3, 5, bow("b2n1", "down"), Mark(Kind.FINGER, "b3n1", "2"), Mark(Kind.SLUR, "b2n1", "", "b2n2"))
    assigned(2, 4, 12, bow("b2n1", "up"), Mark(Kind.FINGER, "b3n1", "2"), Mark(Kind.FINGER, "b3n2", "3"))
    merged = merge(student, part)
    assert [(d.where, d.wins_says, d.over_says) for d in merged.disagreements] == [
        ("bar 2, beat 1", "up-bow", "down-bow"),
        ("bar 2, beat 1", "nothing", "slur to bar 2, beat 3"),
        ("bar 3, beat 2", "finger 3", "nothing"),
    ]
    assert {d.wins.passage.title for d in merged.disagreements} == {"Bars 2 to 4"}
    assert bow("b2n1", "up") in merged.movements[0].marks
    assert Mark(Kind.SLUR, "b2n1", "", "b2n2") not in merged.movements[0].marks


def test_the_teacher_may_choose_who_wins(student, part, assigned):
    first = assigned(1, 3, 5, bow("b2n1", "down"))
    assigned(2, 4, 12, bow("b2n1", "up"), bow("b4n1", "up"))
    merged = merge(student, part, chosen=first.pk)
    assert bow("b2n1", "down") in merged.movements[0].marks
    assert bow("b4n1", "up") in merged.movements[0].marks
    assert [(d.wins_says, d.over_says) for d in merged.disagreements] == [("down-bow", "up-bow")]


def test_a_mark_belongs_to_the_passage_of_its_first_note(student, part, assigned):
    into = Mark(Kind.SLUR, "b2n2", "", "b3n2")
    assigned(1, 2, 5, into)
    assigned(3, 4, 12, Mark(Kind.SLUR, "b3n1", "", "b3n3"))
    merged = merge(student, part)
    assert into in merged.movements[0].marks
    assert seams(merged.movements[0]) == (("bar 3, beat 1", "slur to bar 3, beat 2, slur to bar 3, beat 3"),)


def test_only_open_work_with_a_marking_is_laid_over(student, part, assigned):
    ended = assigned(1, 1, 5, bow("b1n1", "up"))
    end(ended, on=date(2026, 4, 1))
    as_printed = assigned(3, 3, 6, marked=False)
    merged = merge(student, part)
    assert merged.sources == ()
    assert merged.unmarked == (as_printed,)
    assert bow("b1n1", "down") in merged.movements[0].marks


def test_passages_of_an_earlier_file_are_named_not_laid(student, part, assigned):
    old = assigned(1, 1, 5, bow("b1n1", "up"))
    revision = Revision.objects.create(part=part, number=2, source="musicxml", sha256="1" * 64)
    movement = Movement(revision=revision, bar_count=8)
    movement.line = line_to_json(line("4/4", "alto", EIGHT))
    movement.save()
    passage = Passage.objects.create(
        teacher=part.piece.teacher, movement=movement, title="New", start_bar=2, end_bar=2, first_number="2",
        last_number="2",
    )  # fmt: skip
    marking = make_marking(passage, 1, "Second", bow("b2n1", "up"))
    Assignment.objects.create(
        student=student, piece=part.piece, passage=passage, marking=marking, begun=date(2026, 3, 6)
    )
    merged = merge(student, part)
    assert merged.older == (old,)
    assert merged.movements[0].marks == (bow("b2n1", "up"),)


def test_a_passage_carried_by_a_picture_is_left_out(teacher, student, part):
    picture = ExcerptPicture.objects.create(
        teacher=teacher, image="pictures/none.png", sha256="0" * 64, width=400, height=200, file_name="page.png"
    )
    passage = Passage.objects.create(
        teacher=teacher, movement=part.revision.movements.get(), title="From the page", start_bar=1, end_bar=2,
        first_number="1", last_number="2", picture=picture,
    )  # fmt: skip
    Assignment.objects.create(student=student, piece=part.piece, passage=passage, begun=date(2026, 3, 6))
    assert merge(student, part) is None
    assert parts_in_use(student) == []


def test_without_work_on_a_part_there_is_nothing_to_merge(student, part):
    assert merge(student, part) is None
    assert parts_in_use(student) == []


def test_parts_in_use_count_their_passages_in_one_query(student, part, assigned, django_assert_num_queries):
    assigned(1, 1, 5, bow("b1n1", "up"))
    assigned(3, 4, 5, bow("b3n1", "up"))
    with django_assert_num_queries(1):
        assert [(used.part, used.passages) for used in parts_in_use(student)] == [(part, 2)]


# --- pages ---------------------------------------------------------------------------


def test_pages_are_their_owners(client_of, teacher, colleague, stranger, student, part, assigned):
    assigned(1, 3, 5, bow("b2n1", "down"))
    for ending in ("", "/pdf", "/export.mxl", "/export.musicxml"):
        url = f"/students/{student.pk}/parts/{part.pk}{ending}"
        keeps_to_its_owner(url, client_of, teacher, (colleague, stranger))


def test_a_part_the_student_has_no_passage_of_is_not_found(client_of, teacher, student, part):
    for ending in ("", "/pdf", "/export.mxl"):
        assert client_of(teacher).get(f"/students/{student.pk}/parts/{part.pk}{ending}").status_code == 404


def test_the_page_lists_disagreements_and_says_who_wins(client_of, teacher, student, part, assigned):
    first = assigned(1, 3, 5, bow("b2n1", "down"))
    assigned(2, 4, 12, bow("b2n1", "up"))
    client = client_of(teacher)
    page = client.get(f"/students/{student.pk}/parts/{part.pk}").content.decode()
    assert "the one assigned later wins" in page
    assert "<strong>up-bow</strong>" in page
    chosen = client.get(f"/students/{student.pk}/parts/{part.pk}?first={first.pk}").content.decode()
    assert "“Bars 1 to 3” wins wherever it overlaps another passage" in chosen
    assert "<strong>down-bow</strong>" in chosen
    assert f"/students/{student.pk}/parts/{part.pk}/pdf?first={first.pk}" in chosen


def test_the_students_page_says_where_passages_disagree(client_of, teacher, student, part, assigned):
    assigned(1, 3, 5, bow("b2n1", "down"))
    assigned(2, 4, 12, bow("b2n1", "up"))
    assert [used.disagreements for used in parts_in_use(student)] == [1]
    assert "1 place where passages disagree" in client_of(teacher).get(f"/students/{student.pk}/").content.decode()


def test_the_students_page_leads_to_the_whole_part(client_of, teacher, student, part, assigned):
    assigned(1, 3, 5, bow("b2n1", "down"))
    page = client_of(teacher).get(f"/students/{student.pk}/").content.decode()
    assert f"/students/{student.pk}/parts/{part.pk}" in page


def test_the_file_has_the_merged_marks_and_no_name(client_of, teacher, student, part, assigned):
    assigned(2, 4, 12, bow("b2n1", "up"))
    found = client_of(teacher).get(f"/students/{student.pk}/parts/{part.pk}/export.musicxml")
    assert faults(found.content) == []
    assert read_part(found.content, "part.musicxml", 1).movements[0].printed == (
        bow("b1n1", "down"),
        bow("b2n1", "up"),
        bow("b7n1", "down"),
    )
    assert student.first_name.encode() not in found.content


def test_the_pdf_is_made_with_title_rights_and_bars(client_of, teacher, student, part, assigned):
    assigned(2, 4, 12, bow("b2n1", "up"))
    found = client_of(teacher).get(f"/students/{student.pk}/parts/{part.pk}/pdf")
    assert found["Content-Type"] == "application/pdf"
    assert found.content.startswith(b"%PDF")
    merged = merge(student, part)
    html = part_html(merged, lay_out(merged), date(2026, 3, 26))
    assert "<h1>Mill Stream</h1>" in html
    assert "Our own" in html
    assert 'alt="Bars 1 to ' in html
    assert part_pdf(merged, on=date(2026, 3, 26)).count == 1


# --- turning pages: [A] arithmetic on heights, rests counted by hand -------------------------


def blocks(*rests):
    return [Block(50.0, F(rest)) for rest in rests]


def ends(pages):
    return [page.last for page in pages]


def test_pages_fill_up_where_no_turn_is_needed():
    assert ends(plan_pages(blocks(0, 0, 0, 0, 0, 0, 0), 200.0, 150.0)) == [3, 7]


def test_a_page_ends_early_at_a_rest_when_it_is_turned():
    assert ends(plan_pages(blocks(0, 0, 4, 0, 0, 0, 0, 0), 200.0, 200.0, "right")) == [3, 7, 8]
    assert ends(plan_pages(blocks(0, 0, 4, 0, 0, 0, 0, 0), 200.0, 200.0, "right", fill=True)) == [4, 8]
    first = plan_pages(blocks(0, 0, 4, 0, 0, 0, 0), 200.0, 200.0, "right")
    assert ends(first) == [3, 7]
    assert (first[0].turned, first[0].hurried, first[1].turned) == (True, False, False)


def test_a_turn_without_rest_is_called_out():
    pages = plan_pages(blocks(0, 0, 0, 0, 0), 200.0, 200.0, "right")
    assert (pages[0].turned, pages[0].hurried) == (True, True)


def test_a_hurried_page_keeps_room_for_its_words_and_a_quiet_one_does_not():
    assert ends(plan_pages(blocks(0, 0, 0, 0, 0, 0), 200.0, 200.0, "right", turn_mm=6.0)) == [3, 6]
    assert ends(plan_pages(blocks(0, 0, 0, 4, 0, 0), 200.0, 200.0, "right", turn_mm=6.0)) == [4, 6]


def test_pages_open_in_pairs():
    nine = plan_pages(blocks(*[0] * 9), 100.0, 100.0, "left")
    assert [page.turned for page in nine] == [False, True, False, True, False]
    nine = plan_pages(blocks(*[0] * 9), 100.0, 100.0, "right")
    assert [page.turned for page in nine] == [True, False, True, False, False]


def test_a_block_higher_than_a_page_has_one_of_its_own():
    pages = plan_pages([Block(50.0, F(0)), Block(300.0, F(0)), Block(50.0, F(0))], 200.0, 200.0)
    assert ends(pages) == [1, 2, 3]


def test_rests_around_a_bars_end_are_counted_before_and_after_it():
    music = line("4/4", "alto", "D4 h r h | r q E4 q F4 h | r w | r w | G4 w")
    assert rest_after(music, 1) == F(3)
    assert rest_after(music, 2) == F(8)
    assert rest_after(music, 4) == F(8)
    assert rest_after(music, 5) == F(0)
