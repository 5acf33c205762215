"""A movement's page of bars, and picking a passage on it."""

from __future__ import annotations

from itertools import pairwise

import pytest
from django.urls import reverse

from repertoire import excerpts
from repertoire.bounds import read_bounds
from repertoire.importing import add_part_without_notation, make_passage
from repertoire.models import Marking, Movement, Passage, Piece
from repertoire.notation.picture import System
from repertoire.technique.marks import load
from repertoire.views import movements
from tests.repertoire.music import first_movement
from tests.repertoire.policy import is_read_by_its_studio


@pytest.fixture
def movement(teacher):
    return first_movement(teacher)


@pytest.fixture
def bare(teacher):
    piece = Piece.objects.create(teacher=teacher, title="From the book")
    return add_part_without_notation(piece, [40]).revision.movements.get()


@pytest.mark.parametrize("name", ["movement", "movement_bars", "passage_new"])
def test_a_movement_is_read_by_the_studio(movement, name, client_of, teacher, colleague, stranger):
    is_read_by_its_studio(reverse(name, args=[movement.pk]), client_of, teacher, colleague, stranger)


def test_a_colleague_cuts_a_passage_of_her_own_and_a_stranger_none(movement, client_of, colleague, stranger):
    url = reverse("passage_new", args=[movement.pk])
    assert client_of(stranger).post(url, {"bars": "1–4"}).status_code == 404
    assert not Passage.objects.exists()
    client_of(colleague).post(url, {"bars": "1–4"})
    assert Passage.objects.get().teacher == colleague


def test_every_bar_can_be_picked_and_says_its_number(movement, client_of, teacher):
    page = client_of(teacher).get(reverse("movement", args=[movement.pk])).content.decode()
    assert [page.count(f'aria-label="bar {n}"') for n in range(1, 10)] == [1, 1, 1, 1, 1, 1, 1, 1, 0]
    # One tab stop for all bars.
    assert page.count('class="pick" tabindex="0"') == 1


def test_the_places_of_bars_and_beats_follow_the_notes(movement, teacher):
    line, printed = excerpts.movement_notes(movement)
    system = excerpts.drawn(line, printed, excerpts.Look(width_mm=400)).systems[0]
    bars = movements.pick_bars(line, system)
    assert [b.index for b in bars] == [1, 2, 3, 4, 5, 6, 7, 8]
    assert all(a.left + a.width <= b.left + 0.5 for a, b in pairwise(bars))
    beats = [(beat, place) for beat, place in bars[2].beats]
    assert [beat for beat, _ in beats] == ["1", "2", "3", "4"]
    places = [place for _, place in beats]
    assert places == sorted(places)
    assert 0 < places[0] < places[-1] < 100


def test_more_bars_come_by_pages(movement, client_of, teacher, monkeypatch):
    monkeypatch.setattr(movements, "PAGE_BARS", 3)
    client = client_of(teacher)
    first = client.get(reverse("movement", args=[movement.pk])).content.decode()
    assert 'aria-label="bar 3"' in first
    assert 'aria-label="bar 4"' not in first
    assert "More bars, from 4" in first
    more = client.get(reverse("movement_bars", args=[movement.pk]) + "?from=4").content.decode()
    assert 'aria-label="bar 4"' in more
    assert "More bars, from 7" in more
    assert "<html" not in more
    last = client.get(reverse("movement", args=[movement.pk]) + "?from=7").content.decode()
    assert "More bars" not in last
    assert "?from=4" in last


@pytest.mark.parametrize("start", ["0", "-3", "9999", "x", "٣"])
def test_a_start_that_is_no_bar_still_shows_the_movement(movement, client_of, teacher, start):
    assert client_of(teacher).get(reverse("movement", args=[movement.pk]), {"from": start}).status_code == 200


def test_going_to_a_bar_that_is_not_there_says_so(movement, client_of, teacher):
    page = client_of(teacher).get(reverse("movement", args=[movement.pk]), {"bar": "77"}).content.decode()
    assert "There is no bar 77 in this movement: its bars run from 1 to 8." in page


def test_keeping_a_passage_with_its_printed_marking(movement, client_of, teacher):
    answer = client_of(teacher).post(
        reverse("passage_new", args=[movement.pk]),
        {"bars": "2/2 – 4", "title": "Second entry", "purpose": "clean crossings"},
    )
    passage = Passage.objects.get()
    assert answer["Location"] == reverse("passage", args=[passage.pk])
    assert (passage.title, passage.purpose, passage.teacher) == ("Second entry", "clean crossings", teacher)
    assert (passage.start_bar, passage.start_beat, passage.end_bar, passage.end_beat) == (2, "2", 4, "")
    assert passage.span == "2 (beat 2) – 4"
    marking = Marking.objects.get()
    assert (marking.origin, marking.number, marking.passage) == ("printed", 1, passage)
    # The down-bow of bar 2 stands on its first beat, outside the passage.
    assert [m.at for m in load(marking.marks)] == ["b3n1", "b4n1"]


def test_without_a_title_it_is_called_by_its_bars(movement, client_of, teacher):
    url = reverse("passage_new", args=[movement.pk])
    client_of(teacher).post(url, {"bars": "2–4"})
    client_of(teacher).post(url, {"bars": "5"})
    assert list(Passage.objects.values_list("title", flat=True)) == ["Bars 2–4", "Bar 5"]


@pytest.mark.parametrize(
    "bars, words",
    [
        ("", "Pick the first and the last bar"),
        ("3–1", "3 comes after 1"),
        ("1–90", "There is no bar 90"),
        ("one", "There is no bar one"),
        ("4/9", "Bar 4 has no beat 9"),
    ],
)
def test_bars_that_cannot_be_cut_are_refused_and_the_input_kept(movement, client_of, teacher, bars, words):
    url = reverse("passage_new", args=[movement.pk])
    answer = client_of(teacher).post(url, {"bars": bars, "title": "Second entry"})
    assert answer.status_code == 422
    page = answer.content.decode()
    assert words in page
    assert 'value="Second entry"' in page
    assert not Passage.objects.exists()


def test_picked_bars_are_shown_before_they_are_kept(movement, client_of, teacher):
    url = reverse("passage_new", args=[movement.pk])
    page = client_of(teacher).get(url, {"bars": "2–3"}).content.decode()
    assert "<svg" in page
    assert 'value="2–3"' in page
    part = client_of(teacher).get(url, {"bars": "2–3"}, headers={"HX-Request": "true", "HX-Target": "preview"})
    assert "<svg" in part.content.decode()
    assert "<form" not in part.content.decode()
    wrong = client_of(teacher).get(url, {"bars": "2–30"}, headers={"HX-Request": "true", "HX-Target": "preview"})
    assert wrong.status_code == 200
    assert "There is no bar 30" in wrong.content.decode()


def test_without_notation_bars_are_written(bare, client_of, teacher):
    page = client_of(teacher).get(reverse("movement", args=[bare.pk]))
    assert page.status_code == 200
    assert "no notation" in page.content.decode()
    answer = client_of(teacher).post(reverse("passage_new", args=[bare.pk]), {"bars": "12–19", "title": "Middle"})
    passage = Passage.objects.get()
    assert answer["Location"] == reverse("passage", args=[passage.pk])
    assert (passage.bars, passage.has_notation) == ("12–19", False)
    assert not Marking.objects.exists()
    assert client_of(teacher).post(reverse("passage_new", args=[bare.pk]), {"bars": "12–41"}).status_code == 422


def test_the_page_asks_as_often_with_many_passages(movement, client_of, teacher, django_assert_max_num_queries):
    client, url = client_of(teacher), reverse("movement", args=[movement.pk])
    make_passage(movement, teacher, read_bounds("1–2", None, 8))
    with django_assert_max_num_queries(10) as one:
        client.get(url)
    for _ in range(12):
        make_passage(movement, teacher, read_bounds("1–2", None, 8))
    with django_assert_max_num_queries(10) as many:
        client.get(url)
    assert len(many) <= len(one)


def test_the_notes_are_read_from_the_database_once(movement, client_of, teacher):
    excerpts.forget()
    first, _ = excerpts.movement_notes(movement)
    again, _ = excerpts.movement_notes(Movement.objects.select_related("revision").get(pk=movement.pk))
    assert again is first


def test_passages_that_stand_already_are_over_their_bars(movement, client_of, teacher):
    line = excerpts.movement_notes(movement)[0]
    for title, bars in (("First four", "1–4"), ("Across", "3–6")):
        make_passage(movement, teacher, read_bounds(bars, line), title=title)
    page = client_of(teacher).get(reverse("movement", args=[movement.pk])).content.decode()
    assert "2 passages so far" in page
    assert page.count('class="span ') >= 2
    edges = {n: (10.0 * n, 10.0 * n + 10) for n in (3, 4, 5)}
    system = System(body="", width_mm=100.0, height_mm=20.0, notes={}, bars=edges)
    found = movements.spans(system, Passage.objects.order_by("start_bar"))
    assert [(s.passage.title, s.left, s.width, s.lane, s.begins, s.ends) for s in found] == [
        ("First four", 30.0, 20.0, 0, False, True),
        ("Across", 30.0, 30.0, 1, True, False),
    ]
