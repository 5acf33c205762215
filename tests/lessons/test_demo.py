"""The demonstration loads once, ends now, and keeps away from a real studio."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction
from django.test import override_settings
from django.urls import reverse

from lessons.demo import load_demo
from lessons.models import Assignment, Lesson, MarkingChange, Observation, Sheet
from lessons.practice import step_stave
from lessons.sheets import sheet_pdf_bytes
from repertoire.excerpts import passage_line
from repertoire.markings import marks_of
from repertoire.models import Marking, MovedPassage, Passage, Piece
from repertoire.sharing import shared_within
from studio.models import Guardian, Handover, Student, Teacher

NOW = datetime(2026, 5, 13, 12, 0, tzinfo=UTC)  # a Wednesday
pytestmark = pytest.mark.xdist_group("demonstration")  # one process, so that it loads once


def test_a_real_studio_is_left_alone(teacher):
    with pytest.raises(CommandError, match="real studio"):
        call_command("load_demo")
    assert not Piece.objects.exists()


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """Where the demonstration's uploads and sheets lie, for all tests of this file."""
    return tmp_path_factory.mktemp("demonstration")


@pytest.fixture
def at_the_files(settings, files):
    settings.MEDIA_ROOT, settings.SHEETS_ROOT = files / "uploads", files / "sheets"


@pytest.fixture(scope="module")
def loaded(django_db_setup, django_db_blocker, files):
    """The demonstration, loaded once for the tests after this; each takes back what it changes itself."""
    with (
        django_db_blocker.unblock(),
        override_settings(MEDIA_ROOT=files / "uploads", SHEETS_ROOT=files / "sheets"),
        transaction.atomic(),
    ):
        assert load_demo("a password of its own", now=NOW)
        yield
        transaction.set_rollback(True)


def a_colleague_shares_a_marking_and_has_handed_a_student_over(client):
    teacher, colleague = (
        Teacher.objects.get(email="demo@example.org"),
        Teacher.objects.get(email="colleague@example.org"),
    )
    over = Handover.objects.get()
    assert (over.student.first_name, over.giver, over.taker) == ("Perpetua", colleague, teacher)
    assert over.at < over.student.lessons.earliest("starts").starts
    assert over.student.teacher == teacher
    assert {g.teacher for g in Guardian.objects.all()} == {teacher}
    assert not Student.objects.filter(teacher=colleague).exists()
    hers, mine = Marking.objects.get(name="One bow a bar"), Marking.objects.get(name="With the turns")
    assert [m.teacher for m in (hers, mine)] == [colleague, teacher]
    minor = Passage.objects.get(teacher=teacher, title="In the minor")
    assert [m.pk for m in shared_within(minor, teacher)] == [hers.pk]
    client.force_login(colleague, backend="django.contrib.auth.backends.ModelBackend")
    assert client.get(reverse("shared_marking", args=[mine.pk])).status_code == 200
    assert "Perpetua" not in client.get(reverse("piece", args=[minor.movement.revision.part.piece_id])).content.decode()


def test_it_is_whole_and_loading_a_second_time_changes_nothing(loaded, at_the_files, db, client):
    assert 8 <= Student.objects.count() <= 12
    assert {p for s in Student.objects.all() for p in s.instruments.values_list("instrument", flat=True)} == {
        "violin",
        "viola",
    }
    assert (
        Piece.objects.filter(composer__in=["Joseph Haydn", "Wolfgang Amadeus Mozart", "Ludwig van Beethoven"]).count()
        == 3
    )
    first, last = (Lesson.objects.order_by(o).first().starts for o in ("starts", "-starts"))
    assert (first.date(), last.date()) == (datetime(2026, 1, 19).date(), datetime(2026, 6, 5).date())
    assert MarkingChange.objects.exclude(reason="").count() == MarkingChange.objects.count() >= 4
    assert Passage.objects.filter(markings__origin="colleague").exists()
    for sheet in Sheet.objects.all():
        assert sheet_pdf_bytes(sheet).startswith(b"%PDF")
    assert Sheet.objects.count() >= 25
    assert not Assignment.objects.exclude(passage=None).filter(marking=None).exists()

    # No version is younger than its first use.
    late = [str(change.after) for change in MarkingChange.objects.all() if change.after.created > change.at]
    for work in Assignment.objects.exclude(marking=None).exclude(passage__in=MovedPassage.objects.values("passage")):
        change = work.marking_changes.first()
        first = change.before if change else work.marking
        late += [str(first)] if first.created.date() > work.begun else []
    assert late == []

    played = Student.objects.get(first_name="Odile").assignments.get(state="performed")
    assert list(played.state_changes.values_list("before", "after", "reason")) == [
        ("new", "working", ""),
        ("working", "secure", "ready for Saturday"),
        ("secure", "performed", "house concert, first page, from memory"),
        ("performed", "ended", ""),
    ]

    # The newest sheet of a passage with a turn and a trill: three stages, the right hand, a shift.
    staved = Student.objects.get(first_name="Ottoline")
    item = next(i for i in staved.sheets.first().content["items"] if "Evening Boat" in i["title"])
    assert [step["recipe"]["kind"] for step in item["steps"]] == ["bare", "turn", "trill", "right hand", "shift"]
    assert all(step_stave(step) for step in staved.assignments.get(pk=item["assignment"]).steps.filter(ended=None))

    a_colleague_shares_a_marking_and_has_handed_a_student_over(client)

    changed = Student.objects.get(first_name="Bram")
    changed.private_notes = "edited by the user"
    changed.save()
    counts = [m.objects.count() for m in (Student, Lesson, Observation, Marking, Sheet)]
    assert not load_demo("another password")
    assert [m.objects.count() for m in (Student, Lesson, Observation, Marking, Sheet)] == counts
    changed.refresh_from_db()
    assert changed.private_notes == "edited by the user"
    assert all(each.check_password("a password of its own") for each in Teacher.objects.all())


def test_a_violin_passage_stands_in_alto_clef_a_fifth_lower_on_a_viola_students_sheet(loaded, at_the_files, db):
    rufus = Student.objects.get(first_name="Rufus")
    work = rufus.assignments.get(passage__movement__revision__part__piece__title="First Windows")
    violin = Passage.objects.get(movement__revision__part__name="Violin", title="Opening", start_bar=1, end_bar=8,
                                 movement__revision__part__piece__title="First Windows")  # fmt: skip
    assert [p.name for p in passage_line(violin).pitches][:8] == ["G4", "A4", "B4", "D5", "B4", "A4", "G4", "A4"]
    moved = passage_line(work.passage)
    assert [p.name for p in moved.pitches][:8] == ["C4", "D4", "E4", "G4", "E4", "D4", "C4", "D4"]
    assert {clef.name for bar in moved.bars for clef in bar.clefs} == {"alto"}
    assert work.marking.name == "Fourth finger instead of open A"
    fingers = [(m.at, m.value) for m in marks_of(work.marking) if m.kind == "finger" and m.at in ("b1n2", "b3n1")]
    assert fingers == [("b1n2", "4"), ("b3n1", "4")]
    printed = rufus.sheets.order_by("-number").first()
    assert work.pk in [item["assignment"] for item in printed.content["items"]]
