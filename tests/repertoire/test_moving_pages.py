"""Violin and viola: a passage moved to the other instrument, and markings offered between the two."""

from __future__ import annotations

import re

import pytest
from django.test import Client
from django.test.utils import CaptureQueriesContext

from repertoire.excerpts import passage_line, printed_marks
from repertoire.markings import make_marking, marks_of
from repertoire.models import CarriedMarking, Marking, MovedPart, MovedPassage, Movement, Part, Passage, Piece, Revision
from repertoire.moving import carry_marking, leave_marking, linked_passages, moved_passage, offered
from repertoire.notation.storing import line_to_json
from repertoire.technique.marks import Kind, Mark, dump
from tests.repertoire.policy import keeps_to_its_owner
from tests.technique.lines import line

pytestmark = pytest.mark.django_db
# [A] D major becomes G major, E5 becomes A4: 7 half steps and 4 letter steps lower.
VIOLIN = line("4/4", "treble", "D5 q E5 q F#5 q G5 q | A4 w | B3 w", key=2, instrument="violin")
MARKS = (Mark(Kind.BOW, "b1n1", "up"), Mark(Kind.FINGER, "b1n2", "0"), Mark(Kind.STRING, "b1n3", "I"))


@pytest.fixture
def passage(teacher):
    piece = Piece.objects.create(teacher=teacher, title="Study in D")
    part = Part.objects.create(piece=piece, name="Violin", instrument="violin", edition="own", rights="mine")
    movement = Movement(revision=Revision.objects.create(part=part, source="musicxml"), bar_count=3)
    movement.line, movement.printed = line_to_json(VIOLIN), dump((Mark(Kind.FINGER, "b2n1", "0"),))
    movement.save()
    return Passage.objects.create(
        teacher=teacher, movement=movement, title="Up", start_bar=1, end_bar=2, first_number="1", last_number="2"
    )


def test_who_may_come(passage, client_of, teacher, colleague, stranger):
    move = f"/repertoire/passages/{passage.pk}/move"
    keeps_to_its_owner(move, client_of, teacher, (colleague, stranger))
    keeps_to_its_owner(f"/repertoire/passages/{passage.pk}/carry", client_of, teacher, (colleague, stranger), post=True)
    for other in (colleague, stranger):
        assert client_of(other).post(move).status_code == 404
    assert Client().post(move)["Location"].startswith("/sign-in")
    assert not MovedPart.objects.exists()
    assert client_of(teacher).get(f"{move}?marking=999").status_code == 404


def test_a_fifth_lower_with_the_same_marks(passage, client_of, teacher):
    mine = make_marking(passage, teacher, MARKS, name="Mine", origin="own")
    other = make_marking(passage, teacher, MARKS[:1], name="Other", origin="own")
    client = client_of(teacher)
    client.post(f"/repertoire/passages/{passage.pk}/move", {"how": "fifth", "clef": "", "carry": [mine.pk]})
    made = Passage.objects.exclude(pk=passage.pk).get()
    moved = passage_line(made)
    assert [p.name for p in moved.pitches] == ["G4", "A4", "B4", "C5", "D4"]
    assert [(bar.key, bar.clefs[0].name) for bar in moved.bars] == [(1, "alto"), (1, "alto")]
    assert [(m.kind, m.at, m.value) for m in printed_marks(made)] == [("finger", "b2n1", "0")]
    carried = Marking.objects.get(passage=made, origin="carried")
    assert (carried.name, marks_of(carried)) == ("Mine", marks_of(mine))
    part = made.movement.revision.part
    assert (part.instrument, part.edition, part.rights) == ("viola", "own", "mine")
    assert part.name == "Viola, from the violin part, a fifth lower"
    # The one left out was answered: it isn't offered again.
    assert offered(made, linked_passages(made, teacher)) == []
    assert CarriedMarking.objects.get(marking=other).made is None
    # Asked for again, it is the same passage.
    client.post(f"/repertoire/passages/{passage.pk}/move", {"how": "fifth", "clef": ""})
    assert (Passage.objects.count(), Part.objects.count()) == (2, 2)


def test_each_side_is_offered_what_is_new_on_the_other(passage, client_of, teacher):
    made = moved_passage(passage, teacher)
    client = client_of(teacher)
    make_marking(passage, teacher, MARKS, name="Violin idea", origin="own")
    make_marking(made, teacher, MARKS[:2], name="Viola idea", origin="own")
    for here, name, origin in ((made, "Violin idea", passage), (passage, "Viola idea", made)):
        page = client.get(f"/repertoire/passages/{here.pk}").content.decode()
        found = Marking.objects.get(passage=origin, name=name)
        assert "Newer markings there" in page
        assert f"/repertoire/markings/{found.pk}" in page
    first = Marking.objects.get(passage=passage, name="Violin idea")
    client.post(f"/repertoire/passages/{made.pk}/carry", {"marking": first.pk, "what": "carry"})
    carried = Marking.objects.get(passage=made, origin="carried")
    assert (carried.name, marks_of(carried), carried.source) == (
        "Violin idea",
        marks_of(first),
        "from the violin version",
    )
    second = Marking.objects.get(passage=made, name="Viola idea")
    client.post(f"/repertoire/passages/{passage.pk}/carry", {"marking": second.pk, "what": "leave"})
    assert not Marking.objects.filter(passage=passage, origin="carried").exists()
    # What was carried doesn't come back, and what was answered isn't offered twice.
    for here in (passage, made):
        assert offered(here, linked_passages(here, teacher)) == []
        assert "Newer markings there" not in client.get(f"/repertoire/passages/{here.pk}").content.decode()
    again = client.post(f"/repertoire/passages/{made.pk}/carry", {"marking": first.pk, "what": "carry"}, follow=True)
    assert "has been answered already" in again.content.decode()
    assert Marking.objects.filter(origin="carried").count() == 1


def test_at_the_octave_the_hand_is_made_afresh_and_what_lies_too_low_is_named(passage, client_of, teacher):
    client = client_of(teacher)
    page = client.get(f"/repertoire/passages/{passage.pk}/move?how=octave").content.decode()
    assert "Out of the viola" not in page  # D4 to A3: all there
    low = Passage.objects.create(
        teacher=teacher,
        movement=passage.movement,
        title="Low",
        start_bar=3,
        end_bar=3,
        first_number="3",
        last_number="3",
    )
    text = re.sub(r"<[^>]+>", " ", client.get(f"/repertoire/passages/{low.pk}/move?how=octave").content.decode())
    assert "Bar 3, beat 1: B2" in text
    mine = make_marking(passage, teacher, MARKS, name="Mine", origin="own")
    made = moved_passage(passage, teacher, how="octave")
    assert [p.name for p in passage_line(made).pitches] == ["D4", "E4", "F#4", "G4", "A3"]
    carried = carry_marking(mine, linked_passages(made, teacher)[0], made)
    assert carried.rule_version == "left hand 3"
    assert "fingered afresh" in carried.source
    assert Mark(Kind.BOW, "b1n1", "up") in marks_of(carried)
    assert Mark(Kind.STRING, "b1n3", "I") not in marks_of(carried)


def test_there_and_back_and_the_clef_is_the_teachers(passage, teacher, client_of):
    made = moved_passage(passage, teacher, clef="treble")
    assert {bar.clefs[0].name for bar in passage_line(made).bars} == {"treble"}
    link = linked_passages(made, teacher)[0]
    assert (link.passage, link.words, link.from_there) == (passage, "for violin, a fifth higher", True)
    back = make_marking(made, teacher, MARKS, name="Back", origin="own")
    there = carry_marking(back, linked_passages(passage, teacher)[0], passage)
    assert marks_of(there) == marks_of(back)
    assert carry_marking(back, linked_passages(passage, teacher)[0], passage) == there
    leave_marking(back, passage)
    assert Marking.objects.filter(passage=passage, name="Back").count() == 1


def test_the_origin_stays_while_its_version_does(passage, client_of, teacher):
    made = moved_passage(passage, teacher)
    client = client_of(teacher)
    page = client.post(f"/repertoire/passages/{passage.pk}/delete", follow=True).content.decode()
    assert "1 version for another instrument" in page
    client.post(f"/repertoire/passages/{made.pk}/delete")
    assert not MovedPassage.objects.exists()
    client.post(f"/repertoire/passages/{passage.pk}/delete")
    assert not Passage.objects.exists()
    assert client.get(f"/repertoire/parts/{Part.objects.get(instrument='viola').pk}").status_code == 200


def test_no_other_instrument_is_moved(client_of, teacher, passage):
    Part.objects.update(instrument="cello")
    answer = client_of(teacher).get(f"/repertoire/passages/{passage.pk}/move")
    assert answer["Location"] == f"/repertoire/passages/{passage.pk}"
    assert "For violin and viola" not in client_of(teacher).get(f"/repertoire/passages/{passage.pk}").content.decode()


def test_the_page_costs_the_same_queries_with_many_markings_waiting(passage, client_of, teacher):
    from django.db import connection

    made = moved_passage(passage, teacher)
    client = client_of(teacher)
    counts = []
    for n in range(4):
        make_marking(passage, teacher, MARKS, name=f"Idea {n}", origin="own")
        client.get(f"/repertoire/passages/{made.pk}")
        with CaptureQueriesContext(connection) as seen:
            client.get(f"/repertoire/passages/{made.pk}")
        counts.append(len(seen))
    assert len(set(counts)) == 1, counts
