"""Markings shown to colleagues: who reads them, where they stand, what a copy is."""

import pytest
from django.db import DatabaseError, transaction
from django.urls import reverse

from repertoire.bounds import read_bounds
from repertoire.excerpts import movement_notes
from repertoire.importing import make_passage
from repertoire.markings import MarkingError, make_marking, marks_of, printed_marking
from repertoire.models import Draft, Marking, Passage, PassageHolder, SharedMarking
from repertoire.sharing import copy, share, shared_within
from repertoire.technique.marks import Kind, Mark
from studio.models import Handover, Student
from tests.repertoire.music import first_movement

from .policy import keeps_to_its_owner

FINGERED = (Mark(Kind.FINGER, "b2n1", "1"), Mark(Kind.FINGER, "b3n2", "4"))


@pytest.fixture
def movement(teacher):
    return first_movement(teacher)


def cut(movement, teacher, bars="2–3", title="The turn"):
    bounds = read_bounds(bars, movement_notes(movement)[0], movement.bar_count)
    return make_passage(movement, teacher, bounds, title=title)


@pytest.fixture
def marking(movement, teacher):
    passage = cut(movement, teacher)
    printed_marking(passage, teacher)
    return make_marking(
        passage, teacher, FINGERED, name="Low", origin="edition", source="an old print", reason="rings longer"
    )


@pytest.fixture
def shared(marking):
    share(marking)
    return marking


def page(client, url):
    answer = client.get(url)
    assert answer.status_code == 200
    return answer.content.decode()


def test_only_the_owner_shares_and_withdraws(client_of, teacher, colleague, stranger, marking):
    url = reverse("marking_share", args=[marking.pk])
    keeps_to_its_owner(url, client_of, teacher, (colleague, stranger), post=True)
    client_of(teacher).post(url)
    client_of(teacher).post(url)
    assert SharedMarking.objects.get().marking == marking
    assert client_of(colleague).post(url, {"withdraw": "yes"}).status_code == 404
    client_of(teacher).post(url, {"withdraw": "yes"})
    assert not SharedMarking.objects.exists()


def test_who_reads_a_shared_marking(client_of, client, teacher, colleague, stranger, marking):
    url = reverse("shared_marking", args=[marking.pk])
    for each in (teacher, colleague, stranger):
        assert client_of(each).get(url).status_code == 404
    share(marking)
    keeps_to_its_owner(url, client_of, teacher, (stranger,))
    shown = page(client_of(colleague), url)
    assert "Shared by Ada Fell" in shown
    assert "rings longer" in shown
    assert "an old print" not in shown  # where it is from stays private
    assert client_of(colleague).post(url).status_code == 405


def test_passages_and_other_markings_stay_private(client_of, teacher, colleague, shared):
    hers = client_of(colleague)
    other = make_marking(shared.passage, teacher, (), name="Secret plan", origin="own")
    for name, key in (
        ("passage", shared.passage_id),
        ("mark", shared.passage_id),
        ("marking", shared.pk),
        ("marking", other.pk),
        ("passage_edit", shared.passage_id),
        ("shared_marking", other.pk),
        ("who", shared.pk),
    ):
        assert hers.get(reverse(name, args=[key])).status_code == 404, name
    movement = shared.passage.movement
    for name, key in (("piece", movement.revision.part.piece_id), ("movement", movement.pk)):
        shown = page(hers, reverse(name, args=[key]))
        assert "Secret plan" not in shown
        assert reverse("passage", args=[shared.passage_id]) not in shown


def test_where_a_shared_marking_is_offered(client_of, teacher, colleague, stranger, movement, shared):
    url = reverse("shared_marking", args=[shared.pk])
    piece = reverse("piece", args=[movement.revision.part.piece_id])
    assert url in page(client_of(colleague), piece)
    assert url not in page(client_of(teacher), piece)
    assert "1 marking shared by colleagues" in page(client_of(colleague), piece)
    assert "1 shared</span>" in page(client_of(colleague), reverse("pieces"))
    assert "shared</span>" not in page(client_of(teacher), reverse("pieces"))
    same, longer = cut(movement, colleague), cut(movement, colleague, "1–4")
    apart, part_of = cut(movement, colleague, "5–6"), cut(movement, colleague, "2/2–3")
    assert [shared_within(p, colleague) for p in (same, longer, apart, part_of)] == [[shared], [shared], [], []]
    assert url in page(client_of(colleague), reverse("passage", args=[longer.pk]))
    assert url not in page(client_of(colleague), reverse("passage", args=[apart.pk]))


def test_a_copy_makes_the_passage_once_and_says_whose_it_was(client_of, teacher, colleague, shared):
    url = reverse("shared_marking_copy", args=[shared.pk])
    assert client_of(colleague).get(url).status_code == 405
    answer = client_of(colleague).post(url)
    made = Marking.objects.get(teacher=colleague, origin="colleague")
    assert answer["Location"] == reverse("marking", args=[made.pk])
    assert (made.source, made.parent, made.name, made.reason) == ("Ada Fell", None, "Low", "rings longer")
    assert set(marks_of(made)) == set(FINGERED)
    assert (made.passage.teacher, made.passage.start_bar, made.passage.end_bar) == (colleague, 2, 3)
    client_of(colleague).post(url)
    assert Marking.objects.filter(teacher=colleague, origin="colleague").count() == 1
    assert Passage.objects.filter(teacher=colleague).count() == 1
    assert Marking.objects.get(pk=shared.pk).passage.teacher == teacher


def test_a_copy_into_a_longer_passage(client_of, colleague, movement, shared):
    longer = cut(movement, colleague, "1–4")
    url = reverse("shared_marking_copy", args=[shared.pk])
    client_of(colleague).post(url, {"into": longer.pk})
    made = Marking.objects.get(teacher=colleague, origin="colleague")
    assert (made.passage, made.source) == (longer, "Ada Fell, 2–3")
    assert set(marks_of(made)) == set(FINGERED)


def test_copying_is_for_colleagues_into_their_own_music(client_of, client, teacher, colleague, stranger, shared):
    url = reverse("shared_marking_copy", args=[shared.pk])
    assert client_of(stranger).post(url).status_code == 404
    assert client.post(url)["Location"].startswith("/sign-in")
    assert client_of(colleague).post(url, {"into": shared.passage_id}).status_code == 404
    client_of(teacher).post(url)
    assert Marking.objects.filter(origin="colleague").count() == 0
    elsewhere = cut(first_movement(colleague), colleague)
    with pytest.raises(MarkingError, match="not of the same music"):
        copy(shared, colleague, elsewhere)


def test_a_shared_marking_can_be_deleted_by_its_owner(client_of, teacher, shared):
    client_of(teacher).post(reverse("marking_delete", args=[shared.pk]))
    assert not Marking.objects.filter(pk=shared.pk).exists()
    assert not SharedMarking.objects.exists()


def test_students_are_never_named_to_a_colleague(client_of, teacher, colleague, movement, shared):
    from lessons.models import Assignment

    piece = movement.revision.part.piece
    mira = Student.objects.create(teacher=teacher, first_name="Mira")
    Assignment.objects.create(student=mira, piece=piece, passage=shared.passage, marking=shared, begun="2026-03-01")
    mine = page(client_of(teacher), reverse("piece", args=[piece.pk]))
    assert "Mira" in mine
    hers = client_of(colleague)
    for url in (
        reverse("pieces"),
        reverse("piece", args=[piece.pk]),
        reverse("part", args=[movement.revision.part_id]),
        reverse("movement", args=[movement.pk]),
        reverse("shared_marking", args=[shared.pk]),
        reverse("find") + "?q=mira",
    ):
        assert "Mira" not in page(hers, url), url


def test_a_passage_held_by_two_is_marked_by_both_and_framed_by_its_owner(
    client_of, teacher, colleague, marking, movement
):
    from lessons.models import Assignment

    passage = marking.passage
    PassageHolder.objects.create(passage=passage, teacher=colleague, since=marking.created)
    mira = Student.objects.create(teacher=teacher, first_name="Mira")
    Assignment.objects.create(
        student=mira, piece=movement.revision.part.piece, passage=passage, marking=marking, begun="2026-03-01"
    )
    hers = client_of(colleague)
    for name, key in (("passage", passage.pk), ("mark", passage.pk), ("marking", marking.pk), ("who", marking.pk)):
        shown = page(hers, reverse(name, args=[key]))
        assert "Mira" not in shown
        assert "an old print" not in shown
    for name in ("passage_edit", "passage_extend", "passage_elsewhere", "passage_move"):
        assert hers.get(reverse(name, args=[passage.pk])).status_code == 404
    assert hers.post(reverse("passage_delete", args=[passage.pk])).status_code == 404
    assert hers.post(reverse("marking_delete", args=[marking.pk])).status_code == 404
    assert "an old print" in page(client_of(teacher), reverse("marking", args=[marking.pk]))
    child = make_marking(passage, colleague, (), name="Hers", origin="own", parent=marking)
    assert child.parent == marking
    assert not Draft.objects.exists()


def test_the_owner_changes_only_along_with_a_handover(teacher, colleague, marking):
    def give():
        Passage.objects.filter(pk=marking.passage_id).update(teacher=colleague)
        Marking.objects.filter(pk=marking.pk).update(teacher=colleague)

    with pytest.raises(DatabaseError, match="bounds of a passage"), transaction.atomic():
        give()
    with pytest.raises(DatabaseError, match="A marking never changes"), transaction.atomic():
        Marking.objects.filter(pk=marking.pk).update(teacher=colleague)
    mira = Student.objects.create(teacher=colleague, first_name="Mira")
    Handover.objects.create(student=mira, giver=teacher, taker=colleague, at=marking.created, reason="moves")
    give()
    with pytest.raises(DatabaseError, match="A marking never changes"), transaction.atomic():
        Marking.objects.filter(pk=marking.pk).update(name="Other")
    with pytest.raises(DatabaseError, match="A marking never changes"), transaction.atomic():
        Marking.objects.filter(pk=marking.pk).update(teacher=teacher)
