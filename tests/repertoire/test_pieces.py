"""Pieces and parts: the list, one piece, entering one without notation."""

from __future__ import annotations

import pytest
from django.urls import reverse

from repertoire.bounds import read_bounds
from repertoire.importing import add_part_without_notation, make_passage
from repertoire.models import Movement, Part, Piece
from repertoire.queries import pieces_of
from tests.repertoire.music import first_movement, score, viola_part
from tests.repertoire.policy import is_read_by_its_studio, keeps_to_its_owner


@pytest.fixture
def part(teacher):
    return viola_part(teacher, edition="Own copy", rights="written for tests")


def test_a_piece_is_read_by_the_studio_and_changed_by_its_teacher(part, client_of, teacher, colleague, stranger):
    is_read_by_its_studio(reverse("piece", args=[part.piece_id]), client_of, teacher, colleague, stranger)
    keeps_to_its_owner(reverse("piece_edit", args=[part.piece_id]), client_of, teacher, (colleague, stranger))


def test_a_part_is_read_by_the_studio_and_changed_by_its_teacher(part, client_of, teacher, colleague, stranger):
    url = reverse("part", args=[part.pk])
    is_read_by_its_studio(url, client_of, teacher, colleague, stranger)
    for other in (colleague, stranger):
        assert client_of(other).post(url, {"name": "Mine now"}).status_code == 404
    assert Part.objects.get().name != "Mine now"


def test_the_file_of_a_part_goes_to_the_studio_alone(part, client_of, teacher, colleague, stranger):
    url = reverse("part_file", args=[part.pk, 1])
    is_read_by_its_studio(url, client_of, teacher, colleague, stranger)
    answer = client_of(teacher).get(url)
    assert b"".join(answer.streaming_content) == score()
    assert answer["Content-Disposition"] == 'attachment; filename="two.musicxml"'
    assert answer["Cache-Control"] == "private, no-store"
    assert client_of(teacher).get(reverse("part_file", args=[part.pk, 2])).status_code == 404


def test_the_file_lies_under_a_name_that_tells_nothing(part):
    name = part.revision.file.name
    assert name.startswith("parts/")
    assert "two" not in name
    assert len(name) >= len("parts/") + 32


@pytest.mark.parametrize("name", ["pieces", "piece_new"])
def test_lists_need_signing_in(name, client, client_of, teacher):
    assert client.get(reverse(name))["Location"].startswith("/sign-in")
    assert client_of(teacher).get(reverse(name)).status_code == 200
    assert client_of(teacher).put(reverse(name)).status_code == 405


def test_the_list_shows_the_studios_pieces_with_their_owner(part, client_of, teacher, colleague, stranger):
    own, hers, theirs = (
        client_of(each).get(reverse("pieces")).content.decode() for each in (teacher, colleague, stranger)
    )
    assert "Two short movements" in own
    assert "from Ada Fell" not in own
    assert "Two short movements" in hers
    assert "from Ada Fell" in hers
    assert "Two short movements" not in theirs


def test_the_list_is_filtered_by_words_and_instrument(teacher):
    for title, composer, instrument, edition in (
        ("March", "Ada Fell", "viola", "red book"),
        ("Waltz", "Ida Born", "violin", "blue book"),
        ("March of the mill", "Ida Born", "viola", ""),
    ):
        piece = Piece.objects.create(teacher=teacher, title=title, composer=composer)
        add_part_without_notation(piece, [8], name=instrument.capitalize(), instrument=instrument, edition=edition)
    found = lambda **by: [p.title for p in pieces_of(teacher, **by)]  # noqa: E731
    assert found() == ["March", "March of the mill", "Waltz"]
    assert found(order="title") == ["March", "March of the mill", "Waltz"]
    assert found(words="born march") == ["March of the mill"]
    assert found(words="blue") == ["Waltz"]
    assert found(instrument="viola") == ["March", "March of the mill"]
    assert found(words="polka") == []


def test_the_list_asks_as_often_for_thirty_pieces_as_for_two(client_of, teacher, django_assert_max_num_queries):
    def fill(count):
        for n in range(count):
            piece = Piece.objects.create(teacher=teacher, title=f"Study {n}")
            add_part_without_notation(piece, [8, 8], name="Viola", instrument="viola")

    client = client_of(teacher)
    fill(2)
    with django_assert_max_num_queries(8) as two:
        client.get(reverse("pieces"))
    fill(28)
    with django_assert_max_num_queries(8) as thirty:
        client.get(reverse("pieces"))
    assert len(thirty) == len(two)


def test_a_piece_asks_as_often_for_twenty_passages_as_for_two(client_of, teacher, django_assert_max_num_queries):
    movement = first_movement(teacher)
    url = reverse("piece", args=[movement.revision.part.piece_id])
    client = client_of(teacher)
    for n in range(2):
        make_passage(movement, teacher, read_bounds("1–4", None, 8), title=f"Passage {n}")
    with django_assert_max_num_queries(15) as two:
        client.get(url)
    for n in range(18):
        make_passage(movement, teacher, read_bounds("2–5", None, 8), title=f"Later {n}")
    with django_assert_max_num_queries(15) as twenty:
        page = client.get(url).content.decode()
    assert len(twenty) == len(two)
    assert page.count("first-bars.svg") == 20
    assert not any('"repertoire_notation"."line"' in query["sql"] for query in twenty.captured_queries)


def test_a_piece_without_notation(client_of, teacher):
    answer = client_of(teacher).post(
        reverse("piece_new"),
        {"title": "Village dances", "composer": "", "bars": "96, 48", "instrument": "viola", "edition": "red book"},
    )
    piece = Piece.objects.get()
    assert answer["Location"] == reverse("piece", args=[piece.pk])
    part = Part.objects.get(piece=piece)
    assert (part.name, part.instrument, part.edition) == ("Viola", "viola", "red book")
    assert part.revision.source == "none"
    found = list(Movement.objects.values_list("number", "bar_count", "notated"))
    assert found == [(1, 96, False), (2, 48, False)]
    assert "96" in client_of(teacher).get(answer["Location"]).content.decode()


@pytest.mark.parametrize("bars", ["", "0", "many", "12, x", "99999", "-4"])
def test_bars_that_are_no_number_are_refused_and_the_input_kept(client_of, teacher, bars):
    answer = client_of(teacher).post(reverse("piece_new"), {"title": "Village dances", "bars": bars})
    assert answer.status_code == 422
    assert 'value="Village dances"' in answer.content.decode()
    assert not Piece.objects.exists()


def test_editing_title_and_edition(part, client_of, teacher):
    client = client_of(teacher)
    client.post(
        reverse("piece_edit", args=[part.piece_id]), {"title": "Two dances", "composer": "A. Fell", "notes": ""}
    )
    client.post(
        reverse("part", args=[part.pk]),
        {"name": "Viola", "instrument": "viola", "edition": "second printing", "rights": "own work"},
    )
    part.refresh_from_db()
    assert part.piece.title == "Two dances"
    assert (part.edition, part.rights) == ("second printing", "own work")
    assert client.post(reverse("piece_edit", args=[part.piece_id]), {"title": ""}).status_code == 422


def test_deleting_a_piece_takes_its_file(
    part, client_of, teacher, colleague, stranger, django_capture_on_commit_callbacks
):
    url = reverse("piece_delete", args=[part.piece_id])
    keeps_to_its_owner(url, client_of, teacher, (colleague, stranger), post=True)
    file = part.revision.file
    assert file.storage.exists(file.name)
    with django_capture_on_commit_callbacks(execute=True):
        client_of(teacher).post(url)
    assert not Piece.objects.exists()
    assert not file.storage.exists(file.name)


def test_a_piece_with_a_passage_stays(part, client_of, teacher):
    movement = Movement.objects.filter(revision__part=part).first()
    make_passage(movement, teacher, read_bounds("1–4", None, 8))
    answer = client_of(teacher).post(reverse("piece_delete", args=[part.piece_id]), follow=True)
    assert "so it stays" in answer.content.decode()
    assert Piece.objects.count() == 1
    assert part.revision.file.storage.exists(part.revision.file.name)
