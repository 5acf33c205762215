"""Typing music in: the page, its preview, what is kept, and going on with a typed part."""

from __future__ import annotations

import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from repertoire.excerpts import passage_line, printed_marks
from repertoire.markings import make_marking, marks_of
from repertoire.models import Movement, Part, Passage, Piece, Revision
from repertoire.technique.marks import Kind, Mark
from tests.repertoire.music import first_movement
from tests.repertoire.policy import keeps_to_its_owner

TEXT = 'M:3/4\nL:1/8\nK:G clef=alto\nv!1!(G2A2)B2 | c2 !trill!B4 | "^dolce"A6 |]\n'
FIELDS = {"text": TEXT, "title": "Three bars", "instrument": "viola", "passage": "on"}


@pytest.fixture
def typed(client_of, teacher):
    """A part typed by the teacher."""
    client_of(teacher).post(reverse("type_new"), FIELDS)
    return Part.objects.get()


def test_the_pages_keep_to_their_owner(client_of, teacher, colleague, stranger, typed):
    others = (colleague, stranger)
    keeps_to_its_owner(reverse("type_part", args=[typed.piece_id]), client_of, teacher, others)
    keeps_to_its_owner(reverse("type_more", args=[typed.pk]), client_of, teacher, others)


@pytest.mark.parametrize(("name", "method"), [("type_new", "get"), ("type_preview", "post")])
def test_typing_needs_a_teacher_signed_in(client, client_of, teacher, name, method):
    url = reverse(name)
    assert getattr(client, method)(url)["Location"].startswith("/sign-in")
    assert client_of(teacher).put(url).status_code == 405
    assert getattr(client_of(teacher), method)(url).status_code == 200


def test_a_text_becomes_a_piece_a_part_and_a_passage(client_of, teacher):
    answer = client_of(teacher).post(reverse("type_new"), FIELDS | {"composer": "Ada Fell", "edition": "manuscript"})
    passage = Passage.objects.get()
    assert answer["Location"] == reverse("passage", args=[passage.pk])
    part = Part.objects.get()
    assert (part.piece.title, part.piece.composer, part.piece.teacher) == ("Three bars", "Ada Fell", teacher)
    assert (part.name, part.instrument, part.edition) == ("Viola", "viola", "manuscript")
    revision = part.revision
    assert (revision.source, revision.typed, revision.file.read().decode()) == ("abc", True, TEXT)
    assert (passage.title, passage.start_bar, passage.end_bar, passage.bars) == ("Three bars", 1, 3, "1–3")
    assert [p.name for p in passage_line(passage).pitches] == ["G4", "A4", "B4", "C5", "B4", "A4"]
    assert set(printed_marks(passage)) == {
        Mark(Kind.BOW, "b1n1", "down"),
        Mark(Kind.FINGER, "b1n1", "1"),
        Mark(Kind.SLUR, "b1n1", "", "b1n2"),
        Mark(Kind.ORNAMENT, "b2n2", "trill"),
        Mark(Kind.TEXT, "b3n1", "dolce", options=(("place", "above"),)),
    }


def test_line_ends_of_a_browser_are_kept_plain(client_of, teacher):
    client_of(teacher).post(reverse("type_new"), FIELDS | {"text": TEXT.replace("\n", "\r\n")})
    assert Revision.objects.get().file.read().decode() == TEXT


def test_title_and_composer_may_stand_in_the_text(client_of, teacher):
    client_of(teacher).post(reverse("type_new"), {"text": f"T:Air\nC:Ada Fell\n{TEXT}", "instrument": "viola"})
    piece = Piece.objects.get()
    assert (piece.title, piece.composer) == ("Air", "Ada Fell")
    assert not Passage.objects.exists()


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"text": TEXT + "A2 k2|"}, "One place can’t be read, beginning with line 5, column 4"),
        ({"text": TEXT + "A2 k2 q2|"}, "2 places can’t be read"),
        ({"text": "M:3/4\nK:C\n"}, "There are no notes yet"),
        ({"text": ""}, "Type some music first"),
        ({"title": ""}, "Give it a title"),
    ],
)
def test_what_cant_be_kept_is_said_and_the_text_stays(client_of, teacher, changes, message):
    answer = client_of(teacher).post(reverse("type_new"), FIELDS | changes)
    assert answer.status_code == 422
    assert message in answer.content.decode()
    assert answer.context["form"]["text"].value() == (FIELDS | changes)["text"]
    assert not Piece.objects.exists()


def test_the_preview_button_works_without_a_script(client_of, teacher):
    answer = client_of(teacher).post(reverse("type_new"), FIELDS | {"preview": "yes", "title": ""})
    assert answer.status_code == 200
    body = answer.content.decode()
    assert 'id="typed-b1n1"' in body
    assert "3 bars" in body
    assert "Please check" not in body
    assert not Piece.objects.exists()


def test_the_preview_draws_and_lists(client_of, teacher):
    answer = client_of(teacher).post(reverse("type_preview"), {"text": TEXT + "k2 !5!A2 z2|", "instrument": "viola"})
    body = answer.content.decode()
    assert 'id="typed-b4n1"' in body
    assert 'data-line="5" data-column="1"' in body
    assert "“k” has no meaning in the music." in body
    assert "there is no fifth finger" in body


def test_of_a_long_text_the_bars_being_typed_are_drawn(client_of, teacher):
    text = "M:2/4\nL:1/8\nK:C\n" + "A4|\n" * 100
    whole = client_of(teacher).post(reverse("type_preview"), {"text": text}).content.decode()
    assert "100 bars" in whole
    assert "69–100" in whole
    near = client_of(teacher).post(reverse("type_preview"), {"text": text, "line": "53"}).content.decode()
    assert "23–54" in near
    assert 'id="typed-b50n1"' in near
    assert 'id="typed-b60n1"' not in near


def test_fewer_bars_are_drawn_when_they_have_many_notes(client_of, teacher):
    text = "M:8/4\nL:1/32\nK:C\n" + f"{'A' * 64}|\n" * 30
    body = client_of(teacher).post(reverse("type_preview"), {"text": text}).content.decode()
    assert "30 bars, of which 16–30 are drawn here" in body


def test_nothing_typed_gives_no_picture(client_of, teacher):
    body = client_of(teacher).post(reverse("type_preview"), {"text": ""}).content.decode()
    assert "No notes yet" in body
    assert "<svg" not in body


def test_a_part_is_typed_into_a_piece(client_of, teacher):
    piece = first_movement(teacher).revision.part.piece
    page = client_of(teacher).get(reverse("type_part", args=[piece.pk]))
    assert "composer" not in page.context["form"].fields
    answer = client_of(teacher).post(reverse("type_part", args=[piece.pk]), FIELDS | {"title": "", "passage": ""})
    part = Part.objects.latest("pk")
    assert (part.piece, part.revision.source) == (piece, "abc")
    assert answer["Location"] == reverse("movement", args=[Movement.objects.latest("pk").pk])


def test_the_browser_is_told_what_is_stored(client_of, teacher):
    answer = client_of(teacher).post(reverse("type_new"), FIELDS)
    assert answer.cookies["typed"].value == "%2Frepertoire%2Ftype"


# --- going on with a part ----------------------------------------------------------------


def test_a_part_grows_and_its_passages_go_along(client_of, teacher, typed):
    passage = Passage.objects.get()
    make_marking(passage, teacher, (Mark(Kind.FINGER, "b2n1", "2"),), name="Second position", origin="own")
    client = client_of(teacher)
    page = client.get(reverse("type_more", args=[typed.pk]))
    assert page.context["form"]["text"].value() == TEXT
    longer = TEXT.replace("|]", "|") + "B2c2d2 | G6 |]\n"
    answer = client.post(reverse("type_more", args=[typed.pk]), {"text": longer, "instrument": "viola", "revision": 1})
    assert answer["Location"] == reverse("part_carry", args=[typed.pk])
    assert [(r.number, r.movements.get().bar_count) for r in typed.revisions.order_by("number")] == [(1, 3), (2, 5)]
    client.post(answer["Location"])
    carried = Passage.objects.get(extends=passage)
    assert (carried.title, carried.start_bar, carried.end_bar) == ("Three bars", 1, 3)
    assert marks_of(carried.markings.get(name="Second position")) == (Mark(Kind.FINGER, "b2n1", "2"),)
    passage.refresh_from_db()
    assert passage.movement.bar_count == 3


def test_an_unchanged_text_makes_no_revision(client_of, teacher, typed):
    answer = client_of(teacher).post(
        reverse("type_more", args=[typed.pk]), {"text": TEXT, "instrument": "viola", "revision": 1}
    )
    assert answer.status_code == 422
    assert typed.revisions.count() == 1


def test_two_pages_dont_overwrite_each_other(client_of, teacher, typed):
    client, url = client_of(teacher), reverse("type_more", args=[typed.pk])
    client.post(url, {"text": f"{TEXT}B6|", "instrument": "viola", "revision": 1})
    answer = client.post(url, {"text": f"{TEXT}c6|", "instrument": "viola", "revision": 1})
    assert answer.status_code == 422
    assert "gone on with on another page" in answer.content.decode()
    assert answer.context["form"]["text"].value() == f"{TEXT}c6|"
    assert typed.revisions.count() == 2


def test_an_upbeat_isnt_counted_among_the_bars(client_of, teacher):
    text = "M:4/4\nL:1/8\nK:C\nG2|A8|B6|]"
    body = client_of(teacher).post(reverse("type_preview"), {"text": text}).content.decode()
    assert "2 bars and an upbeat" in body


def test_only_typed_parts_are_gone_on_with(client_of, teacher):
    part = first_movement(teacher).revision.part
    assert client_of(teacher).get(reverse("type_more", args=[part.pk])).status_code == 404
    assert "Go on typing" not in client_of(teacher).get(reverse("part", args=[part.pk])).content.decode()


def test_the_way_to_typing_is_on_the_pages(client_of, teacher, typed):
    client = client_of(teacher)
    assert reverse("type_new") in client.get(reverse("pieces")).content.decode()
    assert (
        reverse("type_part", args=[typed.piece_id])
        in client.get(reverse("piece", args=[typed.piece_id])).content.decode()
    )
    assert reverse("type_more", args=[typed.pk]) in client.get(reverse("part", args=[typed.pk])).content.decode()


# --- files of ABC ------------------------------------------------------------------------


def test_an_abc_file_is_imported_like_any_other(client_of, teacher):
    book = "X:1\nT:One\nM:4/4\nL:1/8\nK:C alto\nA8|\nw: la\n\nX:2\nT:Two\nM:4/4\nL:1/8\nK:G\nB8|c8|\n"
    client = client_of(teacher)
    sent = client.post(reverse("import_new"), {"file": SimpleUploadedFile("book.abc", book.encode())})
    page = client.get(sent["Location"]).content.decode()
    assert "1. One" in page
    assert "2. Two" in page
    client.post(sent["Location"], {"part": "1", "title": "From a book", "composer": "", "edition": "", "rights": ""})
    part = Part.objects.get()
    revision = part.revision
    assert (part.name, revision.source, revision.typed, revision.file.read().decode()) == ("1. One", "abc", False, book)
    assert [left["what"] for left in revision.left_out] == ["Words to sing (w:) (line 7, column 4)."]
    assert revision.movements.get().bar_count == 1
    assert json.dumps(revision.movements.get().line)


def test_an_abc_file_that_cant_be_read_leaves_nothing(client_of, teacher):
    answer = client_of(teacher).post(reverse("import_new"), {"file": SimpleUploadedFile("book.abc", b"X:1\nK:C\n")})
    assert answer.status_code == 422
    assert "no music in this file" in answer.content.decode()
    assert not Piece.objects.exists()


# --- finding -------------------------------------------------------------------------------


def test_typed_pieces_are_found_by_the_studio_and_passages_by_their_teacher(
    client_of, teacher, colleague, stranger, typed
):
    found = client_of(teacher).get(reverse("find"), {"q": "three"}).content.decode()
    assert reverse("piece", args=[typed.piece_id]) in found
    assert reverse("passage", args=[Passage.objects.get().pk]) in found
    for other in (colleague, stranger):
        body = client_of(other).get(reverse("find"), {"q": "three"}).content.decode()
        assert (reverse("piece", args=[typed.piece_id]) in body) is (other == colleague)
