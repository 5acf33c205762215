"""Versions: numbered, never changed, in no cycle, kept while anything uses them."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from django.db import DatabaseError, transaction
from django.db.models import ProtectedError

from lessons.models import Assignment, Sheet
from repertoire.markings import (
    MarkingError,
    delete_marking,
    differences,
    make_marking,
    marks_of,
    printed_marking,
    same_aspects,
    uses,
)
from repertoire.models import Draft, Marking
from repertoire.technique.marks import Aspect, Kind, Mark, dump
from tests.repertoire.marking_passages import PRINTED, make_passage
from tests.technique.lines import marks

pytestmark = pytest.mark.django_db


@pytest.fixture
def passage(teacher):
    return make_passage(teacher)


def kept(passage, found, **more):
    return make_marking(passage, passage.teacher, found, **{"name": "Mine", "origin": "own", **more})


def test_as_printed_is_made_once_from_the_source(passage, teacher):
    made = printed_marking(passage, teacher)
    assert (made.number, made.name, made.origin, marks_of(made)) == (1, "As printed", "printed", tuple(sorted(PRINTED)))
    assert printed_marking(passage, teacher) == made


def test_as_printed_without_notation_is_empty(teacher):
    assert marks_of(printed_marking(make_passage(teacher, notated=False), teacher)) == ()


def test_versions_are_numbered_and_know_their_parent(passage, teacher):
    first = printed_marking(passage, teacher)
    second = kept(passage, marks("up b1n3"), parent=first, reason="softer", source="Clara")
    assert (second.number, second.parent, second.reason, second.source) == (2, first, "softer", "Clara")
    assert kept(passage, ()).number == 3


def test_a_parent_belongs_to_the_same_passage(passage, teacher):
    elsewhere = printed_marking(make_passage(teacher, title="Elsewhere"), teacher)
    with pytest.raises(MarkingError, match="another passage"):
        kept(passage, (), parent=elsewhere)


def test_a_version_never_changes_and_so_no_cycle_can_be_made(passage):
    first = kept(passage, marks("up b1n3"))
    second = kept(passage, marks("down b1n3"), parent=first)
    for change in ({"parent": second}, {"name": "Other"}, {"marks": dump(())}):
        with pytest.raises(DatabaseError, match="never changes"), transaction.atomic():
            Marking.objects.filter(pk=first.pk).update(**change)
    first.refresh_from_db()
    assert (first.parent, first.name, marks_of(first)) == (None, "Mine", marks("up b1n3"))


def test_equal_aspects_have_equal_digests(passage):
    one = kept(passage, (*marks("up b1n3"), Mark(Kind.FINGER, "b1n3", "1")))
    other = kept(passage, (*marks("up b1n3", "p b1n1"), Mark(Kind.FINGER, "b1n3", "2")))
    assert same_aspects(one, other) == (Aspect.BOW,)


def test_an_unused_version_can_be_deleted(passage):
    made = kept(passage, ())
    assert uses(made) == ()
    delete_marking(made)
    assert not Marking.objects.exists()


def test_a_version_with_a_later_one_or_a_draft_stays(passage, teacher):
    made = kept(passage, ())
    kept(passage, marks("up b1n3"), parent=made)
    Draft.objects.create(teacher=teacher, passage=passage, parent=made, marks=dump(()))
    assert set(uses(made)) == {"1 later version", "1 draft"}
    with pytest.raises(MarkingError, match="“Mine” is used by"):
        delete_marking(made)


def test_a_version_a_student_uses_stays(passage, student):
    made, tried = kept(passage, ()), kept(passage, marks("up b1n3"))
    given = Assignment.objects.create(
        student=student,
        piece=passage.movement.revision.part.piece,
        passage=passage,
        marking=made,
        begun=date(2026, 3, 2),
    )
    given.to_try.add(tried)
    assert uses(made) == ("1 assignment",)
    assert uses(tried) == ("1 assignment as a marking to try",)
    for marking in (made, tried):
        with pytest.raises(MarkingError):
            delete_marking(marking)
        with pytest.raises(ProtectedError), transaction.atomic():
            Marking.objects.filter(pk=marking.pk).delete()
    assert set(given.to_try.all()) == {tried}


def test_a_version_on_an_issued_sheet_stays(passage, student):
    made = kept(passage, ())
    sheet = Sheet.objects.create(
        student=student, number=1, issued=datetime(2026, 3, 2, tzinfo=ZoneInfo("UTC")), paper="A4", file_name="1.pdf",
        sha256="0" * 64, pages=1, content={},
    )  # fmt: skip
    sheet.markings.add(made)
    assert uses(made) == ("1 practice sheet",)
    with pytest.raises(ProtectedError), transaction.atomic():
        Marking.objects.filter(pk=made.pk).delete()
    assert list(sheet.markings.all()) == [made]


def test_differences_by_bar_and_beat(passage):
    before = (*marks("up b1n3", "p b1n1"), Mark(Kind.FINGER, "b2n1p3", "1"))
    after = (*marks("down b1n3", "slur b1n3 b1n4"), Mark(Kind.FINGER, "b2n1p3", "1"))
    found = differences(passage, before, after)
    assert [(p.where, p.address) for p in found] == [("bar 1, beat 1", "b1n1"), ("bar 1, beat 3", "b1n3")]
    assert [(c.aspect, c.words) for c in found[0].changes] == [(Aspect.WORDS, "piano on G3, taken out")]
    assert sorted((c.aspect, c.words) for c in found[1].changes) == [
        (Aspect.BOW, "down-bow on B3, was up-bow"),
        (Aspect.BOW, "slur to beat 4, added"),
    ]


def test_a_version_can_be_told_when_it_was_kept(passage, teacher):
    before = datetime(2026, 3, 1, 20, tzinfo=UTC)
    told = make_marking(passage, teacher, (), name="Old", origin="own", created=before)
    told.refresh_from_db()
    assert told.created == before
    now = make_marking(passage, teacher, (), name="New", origin="own", parent=told)
    assert (now.number, now.created > before) == (told.number + 1, True)
