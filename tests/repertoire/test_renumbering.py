"""Bar numbers set by the teacher before she makes passages."""

import re
from itertools import count

import pytest
from django.urls import reverse

from repertoire.bounds import read_bounds
from repertoire.carrying import carry_over
from repertoire.excerpts import movement_notes
from repertoire.importing import add_part, add_revision, make_passage
from repertoire.models import Movement, Part, Piece
from repertoire.notation.musicxml import read_part
from repertoire.renumbering import RenumberError, first_number, renumber

from .music import first_movement, score
from .policy import keeps_to_its_owner


@pytest.fixture
def late(teacher):
    """Eight bars numbered 145 to 152, as a finale whose file counts on."""
    places = count()
    # Each part has eight bars and then six whose numbers start again.
    content = re.sub(
        rb'<measure number="(\d)">',
        lambda bar: b'<measure number="%d">' % (int(bar[1]) + 144 * (next(places) % 14 < 8)),
        score(),
    )
    piece = Piece.objects.create(teacher=teacher, title="Two short movements")
    part = add_part(piece, content, "two.musicxml", "Viola")
    return Movement.objects.select_related("revision__part__piece").get(revision__part=part, number=1)


def numbers(movement):
    return [bar.number for bar in movement_notes(movement)[0].bars]


def test_a_movement_that_counts_on_begins_at_one(client_of, teacher, late):
    before, printed = movement_notes(late)
    assert numbers(late)[0] == "145"
    client = client_of(teacher)
    assert "numbers begin at 145" in client.get(reverse("movement", args=[late.pk])).content.decode()
    answer = client.post(reverse("movement_numbers", args=[late.pk]), {"begins_at": "1"})
    fresh = Movement.objects.select_related("revision__part__piece").get(revision=late.revision, number=1)
    assert answer["Location"] == reverse("movement", args=[fresh.pk])
    assert numbers(fresh)[:3] == ["1", "2", "3"]
    after, marks = movement_notes(fresh)
    assert after.events == before.events
    assert marks == printed
    assert len(after.bars) == len(before.bars) == fresh.bar_count


def test_the_address_from_before_leads_to_the_movement(client_of, teacher, colleague, stranger, late):
    before = reverse("movement", args=[late.pk])
    client = client_of(teacher)
    for first in (1, 10):
        at = Movement.objects.get(revision=late.revision, number=1)
        client.post(reverse("movement_numbers", args=[at.pk]), {"begins_at": first})
    now = reverse("movement", args=[Movement.objects.get(revision=late.revision, number=1).pk])
    assert now != before
    for who in (teacher, colleague):
        assert client_of(who).get(before)["Location"] == now
    assert client_of(stranger).get(before).status_code == 404
    # What was sent from a page with the old numbers is not done with the new ones.
    assert client.post(reverse("movement_numbers", args=[late.pk]), {"begins_at": "3"}).status_code == 404
    assert client.get(reverse("movement", args=[late.pk + 10_000])).status_code == 404


def test_passages_follow_into_a_file_numbered_afresh(teacher, late):
    part = late.revision.part
    old = make_passage(late, teacher, read_bounds("146-147", movement_notes(late)[0]), title="The turn")
    with late.revision.file.open("rb") as file:
        content = file.read()
    revision = add_revision(part, read_part(content, "two.musicxml", "Viola"), content, "two.musicxml", part_ref="2")
    fresh = renumber(revision.movements.select_related("revision__part__piece").get(number=1), 1)
    (carried,) = carry_over(part, teacher)
    assert carried.left_out == []
    assert (carried.after.movement, carried.after.bars, carried.after.extends) == (fresh, "2–3", old)
    assert old.bars == "146–147"


def test_left_out_bars_and_letters_follow(teacher, late):
    revision = late.revision
    revision.left_out = [
        {"movement": 1, "bar": "146, 150 and 5 more", "what": "The dashes after words."},
        {"movement": 2, "bar": "3", "what": "The dashes after words."},
    ]
    revision.save()
    renumber(late, 1)
    revision.refresh_from_db()
    assert [told["bar"] for told in revision.left_out] == ["2, 6 and 5 more", "3"]


def test_numbers_stand_once_a_passage_is_made(client_of, teacher, late):
    bounds = read_bounds("146-147", movement_notes(late)[0])
    passage = make_passage(late, teacher, bounds)
    with pytest.raises(RenumberError, match="Passages are made with these numbers"):
        renumber(late, 1)
    page = client_of(teacher).get(reverse("movement", args=[late.pk])).content.decode()
    assert "Passages are made with these numbers, so they stay." in page
    assert passage.bars == "146–147"


@pytest.mark.parametrize("told", ["", "0", "-3", "one", "99999"])
def test_what_is_no_number_of_a_bar_is_refused(client_of, teacher, late, told):
    answer = client_of(teacher).post(reverse("movement_numbers", args=[late.pk]), {"begins_at": told}, follow=True)
    assert "number" in str(next(iter(answer.context["messages"])))
    assert Movement.objects.filter(pk=late.pk).exists()


def test_only_the_owner_numbers_bars(client_of, teacher, colleague, stranger):
    movement = first_movement(teacher)
    url = reverse("movement_numbers", args=[movement.pk])
    keeps_to_its_owner(url, client_of, teacher, (colleague, stranger), post=True)
    assert "numbers begin at" not in client_of(colleague).get(reverse("movement", args=[movement.pk])).content.decode()
    assert first_number(movement_notes(movement)[0]) == 1


def test_another_part_is_read_from_the_file_that_is_kept(client_of, teacher, colleague, stranger):
    part = first_movement(teacher).revision.part
    url = reverse("part_another", args=[part.pk])
    keeps_to_its_owner(url, client_of, teacher, (colleague, stranger), post=True)
    answer = client_of(teacher).post(url)
    page = client_of(teacher).get(answer["Location"]).content.decode()
    assert "Violin" in page
    client_of(teacher).post(answer["Location"], {"part": "1", "edition": "", "rights": ""})
    assert sorted(p.name for p in Part.objects.filter(piece=part.piece)) == ["Viola", "Violin"]
