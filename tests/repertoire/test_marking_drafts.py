"""Drafts: saved at each change, undone and redone, refused with reasons, safe between two pages."""

import pytest

from repertoire import drafts
from repertoire.drafts import ChangedElsewhere, Refused
from repertoire.markings import make_marking, marks_of, printed_marking
from repertoire.models import Draft, Marking
from repertoire.technique.marks import Kind, Mark
from repertoire.technique.writing import Selection, write
from tests.repertoire.marking_passages import PRINTED, make_passage
from tests.technique.lines import marks

pytestmark = pytest.mark.django_db


@pytest.fixture
def passage(teacher):
    return make_passage(teacher)


def writing(kind, value, first, last=""):
    return lambda line, found: write(line, found, Selection.of(line, first, last), kind, value)


def change(passage, state, make=None, wanted="", words="up-bow"):
    make = make or writing(Kind.BOW, "up", "b1n3")
    return drafts.change(passage, passage.teacher, state=state, wanted=wanted, words=words, make=make)


def test_looking_writes_nothing(passage, teacher):
    found = drafts.desk(passage, teacher)
    assert (found.state, set(found.marks), found.changed) == ("0", set(PRINTED), False)
    assert not Draft.objects.exists()
    assert not Marking.objects.exists()


def test_the_first_change_begins_the_draft_from_what_is_printed(passage, teacher):
    after = change(passage, "0")
    assert set(after.marks) == {*PRINTED, *marks("up b1n3")}
    assert (after.draft.parent.origin, after.state) == ("printed", f"{after.draft.pk}.1")
    assert drafts.desk(passage, teacher).marks == after.marks


def test_a_draft_can_begin_from_bare_notes_or_any_version(passage, teacher):
    bare = change(passage, "0", wanted="blank")
    assert (bare.marks, bare.draft.parent) == (marks("up b1n3"), None)
    drafts.discard(passage, teacher, state=bare.state)
    first = make_marking(passage, teacher, marks("p b1n1"), name="First", origin="own")
    make_marking(passage, teacher, marks("f b1n1"), name="Second", origin="own")
    after = change(passage, "0", wanted=str(first.pk))
    assert (set(after.marks), after.draft.parent) == (set(marks("p b1n1", "up b1n3")), first)


def test_undo_and_redo_and_their_words(passage, teacher):
    one = change(passage, "0", words="up-bow")
    two = change(passage, one.state, writing(Kind.FINGER, "1", "b1n2"), words="finger 1")
    assert (two.undo, two.redo) == ("finger 1", "")
    back = drafts.undo(passage, teacher, state=two.state)
    assert (back.marks, back.undo, back.redo) == (one.marks, "up-bow", "finger 1")
    again = drafts.redo(passage, teacher, state=back.state)
    assert again.marks == two.marks
    earlier = drafts.undo(passage, teacher, state=drafts.undo(passage, teacher, state=again.state).state)
    assert (earlier.marks, earlier.undo) == (tuple(sorted(PRINTED)), "")
    with pytest.raises(Refused, match="nothing to undo"):
        drafts.undo(passage, teacher, state=earlier.state)


def test_a_change_after_undo_ends_redo(passage, teacher):
    one = change(passage, "0")
    back = drafts.undo(passage, teacher, state=one.state)
    other = change(passage, back.state, writing(Kind.BOW, "down", "b1n1"))
    assert other.redo == ""


def test_what_cannot_be_is_refused_and_nothing_is_lost(passage, teacher):
    one = change(passage, "0")
    with pytest.raises(Refused) as refused:
        change(passage, one.state, writing(Kind.STRING, "I", "b1n1"))  # G3 lies below the A string
    assert refused.value.reasons[0].startswith("Bar 1, beat 1")
    assert drafts.desk(passage, teacher).state == one.state
    assert drafts.desk(passage, teacher).marks == one.marks


def test_what_was_amiss_before_does_not_block_a_change_elsewhere(passage, teacher):
    odd = make_marking(passage, teacher, (Mark(Kind.STRING, "b1n1", "I"),), name="Odd", origin="own")
    assert set(marks("up b1n3")) <= set(change(passage, "0", wanted=str(odd.pk)).marks)


def test_two_pages_notice_each_other(passage, teacher):
    here = change(passage, "0")
    there = change(passage, here.state, writing(Kind.BOW, "down", "b1n1"))
    with pytest.raises(ChangedElsewhere):
        change(passage, here.state, writing(Kind.FINGER, "1", "b1n2"))
    with pytest.raises(ChangedElsewhere):
        drafts.undo(passage, teacher, state=here.state)
    with pytest.raises(ChangedElsewhere):
        drafts.discard(passage, teacher, state="0")
    with pytest.raises(ChangedElsewhere):
        drafts.keep(passage, teacher, state=here.state, name="Mine", origin="own")
    assert drafts.desk(passage, teacher).marks == there.marks


def test_a_new_draft_is_not_taken_for_the_old_one(passage, teacher):
    old = change(passage, "0")
    drafts.discard(passage, teacher, state=old.state)
    assert change(passage, "0").state != old.state


def test_keeping_makes_a_version_and_clears_the_desk(passage, teacher):
    after = change(passage, "0")
    made = drafts.keep(
        passage, teacher, state=after.state, name="Mine", origin="colleague", reason="lighter", source="Clara"
    )
    assert (made.number, made.parent, made.origin) == (2, printed_marking(passage, teacher), "colleague")
    assert (made.reason, made.source, marks_of(made)) == ("lighter", "Clara", after.marks)
    assert not Draft.objects.exists()
    assert drafts.desk(passage, teacher).start.parent == made


def test_nothing_new_is_not_kept(passage, teacher):
    after = change(passage, "0")
    back = drafts.undo(passage, teacher, state=after.state)
    with pytest.raises(Refused, match="Nothing differs from “As printed”"):
        drafts.keep(passage, teacher, state=back.state, name="Mine", origin="own")


def test_each_teacher_has_a_draft_of_her_own(passage, teacher, colleague):
    change(passage, "0")
    assert drafts.desk(passage, colleague).draft is None


def test_undo_keeps_two_hundred_steps(passage, teacher):
    after = change(passage, "0")
    draft = after.draft
    draft.undo = draft.undo * 200
    draft.save()
    assert len(change(passage, after.state, writing(Kind.BOW, "down", "b1n1")).draft.undo) == 200
