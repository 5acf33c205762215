"""The same music elsewhere in a movement, made a passage with its marking carried over."""

from __future__ import annotations

import pytest
from django.urls import reverse

from repertoire.bounds import read_bounds
from repertoire.elsewhere import places
from repertoire.importing import make_passage
from repertoire.markings import make_marking, marks_of, printed_marking
from repertoire.models import Marking, Movement, Part, Passage, Piece, Revision
from repertoire.notation.storing import line_to_json
from repertoire.technique.marks import Kind, Mark
from tests.repertoire.policy import keeps_to_its_owner
from tests.technique.lines import line

# Bars 1 and 2 come again in 4 and 5 a fifth higher, and in 7 and 8 as they are.
NOTES = line(
    "4/4",
    "alto",
    "D4 q E4 q F#4 q G4 q | A4 h F#4 h | C4 w | A4 q B4 q C#5 q D5 q | E5 h C#5 h | C4 w "
    "| D4 q E4 q F#4 q G4 q | A4 h F#4 h",
)


@pytest.fixture
def passage(teacher):
    part = Part.objects.create(piece=Piece.objects.create(teacher=teacher, title="Rounds"), name="Viola")
    revision = Revision.objects.create(part=part, source="musicxml", sha256="e" * 64)
    movement = Movement(revision=revision, bar_count=8)
    movement.line = line_to_json(NOTES)
    movement.save()
    made = make_passage(movement, teacher, read_bounds("1–2", NOTES), title="Theme")
    printed_marking(made, teacher)
    return made


@pytest.fixture
def marking(passage, teacher):
    marks = (Mark(Kind.BOW, "b1n1", "up"), Mark(Kind.FINGER, "b1n2", "1"), Mark(Kind.STRING, "b2n1", "III"))
    return make_marking(passage, teacher, marks, name="On the G string", origin="own")


def test_the_page_is_its_teachers(passage, client_of, teacher, colleague, stranger):
    url = reverse("passage_elsewhere", args=[passage.pk])
    keeps_to_its_owner(url, client_of, teacher, (colleague, stranger))
    assert client_of(colleague).post(url, {"place": "b4n1"}).status_code == 404


def test_places_are_found_with_their_interval(passage):
    found = [(p.bars, p.found.likeness.value, p.interval) for p in places(passage)]
    assert found == [("4–5", "transposed", "a fifth higher"), ("7–8", "exact", "")]


def test_a_passage_is_made_there_with_the_marking(passage, marking, client_of, teacher):
    url = reverse("passage_elsewhere", args=[passage.pk])
    answer = client_of(teacher).post(url, {"place": "b7n1", "marking": marking.pk})
    made = Passage.objects.exclude(pk=passage.pk).get()
    assert answer["Location"] == reverse("passage", args=[made.pk])
    assert (made.title, made.bars) == ("Theme, from 7", "7–8")
    carried = Marking.objects.get(passage=made, origin="carried")
    assert [(m.kind, m.at, m.value) for m in marks_of(carried)] == [
        ("bow", "b7n1", "up"),
        ("finger", "b7n2", "1"),
        ("string", "b8n1", "III"),
    ]
    # It is offered once.
    page = client_of(teacher).get(url).content.decode()
    assert page.count("Make a passage there") == 1
    client_of(teacher).post(url, {"place": "b7n1", "marking": marking.pk})
    assert Passage.objects.count() == 2


def test_a_fifth_higher_the_strings_move_and_what_has_no_place_is_named(passage, teacher, client_of):
    marks = (Mark(Kind.FINGER, "b1n2", "1"), Mark(Kind.STRING, "b1n1", "I"), Mark(Kind.STRING, "b2n1", "III"))
    marking = make_marking(passage, teacher, marks, name="Mixed", origin="own")
    url = reverse("passage_elsewhere", args=[passage.pk])
    page = client_of(teacher).post(url, {"place": "b4n1", "marking": marking.pk}, follow=True).content.decode()
    carried = Marking.objects.get(origin="carried")
    there = {(m.kind, m.at, m.value) for m in marks_of(carried)}
    assert {("finger", "b4n2", "1"), ("string", "b5n1", "II")} <= there
    assert "Not carried over" in page
    assert "no neighbouring string on that side" in page
    # What was left behind is completed, and told so.
    assert carried.rule_version == "left hand 3"
    assert "fingered afresh" in carried.source
    assert "it is completed afresh there" in page


def test_at_another_interval_the_fingering_is_made_afresh(teacher, client_of):
    """G4 A4 with 1 2 on the D string, and a fourth higher: C5 D5 can't have those fingers."""
    notes = line("4/4", "alto", "G4 q A4 q B4 q C5 q | C4 w | C5 q D5 q E5 q F5 q")
    part = Part.objects.create(piece=Piece.objects.create(teacher=teacher, title="Up"), name="Viola")
    movement = Movement(revision=Revision.objects.create(part=part, source="musicxml", sha256="f" * 64), bar_count=3)
    movement.line = line_to_json(notes)
    movement.save()
    passage = make_passage(movement, teacher, read_bounds("1", notes), title="Theme")
    marks = (Mark(Kind.BOW, "b1n1", "up"), Mark(Kind.FINGER, "b1n1", "1"), Mark(Kind.STRING, "b1n1", "II"))
    marking = make_marking(passage, teacher, marks, name="Third position", origin="own")
    url = reverse("passage_elsewhere", args=[passage.pk])
    page = client_of(teacher).post(url, {"place": "b3n1", "marking": marking.pk}, follow=True).content.decode()
    carried = Marking.objects.get(origin="carried")
    assert ("bow", "b3n1", "up") in {(m.kind, m.at, m.value) for m in marks_of(carried)}
    assert carried.rule_version == "left hand 3"
    assert "it is completed afresh there" in page
    assert "Not carried over" not in page


@pytest.mark.parametrize("place", ["", "b3n1", "x"])
def test_a_place_that_is_none_makes_nothing(passage, marking, client_of, teacher, place):
    client_of(teacher).post(reverse("passage_elsewhere", args=[passage.pk]), {"place": place, "marking": "x"})
    assert Passage.objects.count() == 1


def _carry(passage, client, method="get", **given):
    return getattr(client, method)(reverse("carry_over", args=[passage.pk]), given)


def test_carrying_over_is_its_teachers(passage, marking, client_of, teacher, colleague, stranger):
    for other in (colleague, stranger):
        for method in ("get", "post"):
            assert _carry(passage, client_of(other), method, place="b7n1").status_code == 404
    client = client_of(teacher)
    assert _carry(passage, client, place="b7n1").status_code == 200
    assert client.put(reverse("carry_over", args=[passage.pk])).status_code == 405
    client.logout()
    assert _carry(passage, client, place="b7n1").url.startswith("/sign-in")
    assert Passage.objects.count() == 1


def test_the_preview_goes_mark_for_mark_and_changes_nothing(passage, marking, client_of, teacher):
    page = _carry(passage, client_of(teacher), place="b7n1", marking=marking.pk).content.decode()
    for here, there in (("up-bow on D4", "up-bow on D4"), ("finger 1 on E4", "finger 1 on E4")):
        assert f"<td>Bar 1, beat {1 if 'up' in here else 2}: {here}</td>" in page
        assert f"<td>Bar 7, beat {1 if 'up' in there else 2}: {there}</td>" in page
    assert Passage.objects.count() == 1


def test_the_bowing_alone_can_be_carried(passage, marking, client_of, teacher):
    answer = _carry(passage, client_of(teacher), "post", place="b7n1", marking=marking.pk, aspect="bow")
    made = Passage.objects.exclude(pk=passage.pk).get()
    assert answer["Location"] == reverse("passage", args=[made.pk])
    carried = Marking.objects.get(passage=made, origin="carried")
    assert [(m.kind, m.at, m.value) for m in marks_of(carried)] == [("bow", "b7n1", "up")]
    # Once more, with the fingering, to the passage that stands there now.
    _carry(passage, client_of(teacher), "post", place="b7n1", marking=marking.pk, aspect=["bow", "left-hand"])
    assert Passage.objects.count() == 2
    assert [len(marks_of(m)) for m in Marking.objects.filter(passage=made, origin="carried").order_by("number")] == [
        1,
        3,
    ]


def test_a_place_that_is_gone_leads_back(passage, marking, client_of, teacher):
    assert _carry(passage, client_of(teacher), place="b3n1")["Location"] == reverse(
        "passage_elsewhere", args=[passage.pk]
    )
    assert _carry(passage, client_of(teacher), place="b7n1", marking="77").status_code == 404


def test_other_movements_of_the_part_are_searched_too(passage, marking, client_of, teacher):
    later = Movement(revision=passage.movement.revision, number=2, title="Rondo", bar_count=2)
    later.line = line_to_json(line("4/4", "alto", "D4 q E4 q F#4 q G4 q | A4 h F#4 h"))
    later.save()
    found = [(p.movement.number, p.key, p.own) for p in places(passage)]
    assert found == [(1, "b4n1", True), (1, "b7n1", True), (2, "2-b1n1", False)]
    _carry(passage, client_of(teacher), "post", place="2-b1n1", marking=marking.pk)
    made = Passage.objects.get(movement=later)
    carried = Marking.objects.get(passage=made, origin="carried")
    assert [m.at for m in marks_of(carried)] == ["b1n1", "b1n2", "b2n1"]
