"""Students go from one teacher to a colleague: with everything kept about them, and a record of it.

What hangs on the student goes along by itself; rows that name the teacher as well are changed, here for every
table that has both. Guardians go along, or are copied when a brother or sister stays. Passages and markings a
student works on, or ever did, stay readable: the passage changes its owner when none of the giver's remaining
students needs it, otherwise both teachers hold it. One transaction, a fixed number of queries.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime

from django.apps import apps
from django.db import models, transaction
from django.db.models import Q

from lessons.models import Assignment, MarkingChange, Phrase, Sheet, Step
from lessons.step_pictures import StepPicture
from lessons.step_sets import StepSet
from repertoire.importing import discard_upload
from repertoire.models import (
    Draft,
    Marking,
    MovedPassage,
    Passage,
    PassageHolder,
    PictureUpload,
    Piece,
    Upload,
)
from studio.colleagues import CannotLeave, close_account, colleagues_of
from studio.models import Guardian, Guardianship, Handover, Student, Studio, Teacher


class HandoverError(Exception):
    """Why students can't be handed over; the message is for the teacher."""


def hand_over(giver: Teacher, takers: Mapping[int, Teacher], *, reason: str, at: datetime) -> list[Handover]:
    """Hand students (by their ids) to colleagues. Raises HandoverError."""
    reason = reason.strip()
    if not takers:
        raise HandoverError("Choose a colleague for at least one student.")
    if not reason:
        raise HandoverError("Write a reason: it stays with the student’s details.")
    with transaction.atomic():
        # Locked, so that nobody closes her account while students are on the way to her.
        Studio.objects.select_for_update().get(pk=giver.studio_id)
        own = {s.pk: s for s in Student.objects.select_for_update().filter(teacher=giver, pk__in=takers)}
        open_ones = {each.pk for each in colleagues_of(giver)}
        if len(own) < len(takers) or any(taker.pk not in open_ones for taker in takers.values()):
            raise HandoverError("Something has changed in the meantime: look at the list again.")
        made = Handover.objects.bulk_create(
            [
                Handover(student=own[pk], giver=giver, taker=taker, at=at, reason=reason[:300])
                for pk, taker in takers.items()
            ]
        )
        remaining = set(Student.objects.filter(teacher=giver).exclude(pk__in=own).values_list("pk", flat=True))
        kept = passages_worked_on(remaining)
        for taker in dict.fromkeys(takers.values()):
            moved = {pk for pk, to in takers.items() if to == taker}
            _change_teacher(moved, taker)
            _pass_guardians(giver, moved, taker)
            _pass_passages(giver, taker, passages_worked_on(moved), kept, at)
    return made


def _change_teacher(students: set[int], taker: Teacher) -> None:
    Student.objects.filter(pk__in=students).update(teacher=taker)
    for table in tables_with_both():
        table._base_manager.filter(student__in=students).update(teacher=taker)


def tables_with_both() -> list[type[models.Model]]:
    """Every table whose rows name a student and, beside the student, the teacher."""

    def leads(table: type[models.Model], name: str, to: type[models.Model]) -> bool:
        return any(f.name == name and f.related_model is to for f in table._meta.concrete_fields)

    return [
        table for table in apps.get_models() if leads(table, "student", Student) and leads(table, "teacher", Teacher)
    ]


def _pass_guardians(giver: Teacher, students: set[int], taker: Teacher) -> None:
    """Guardians of moved students only change the teacher; others are copied for them."""
    ties = list(Guardianship.objects.filter(student__in=students, guardian__teacher=giver).select_related("guardian"))
    guardians = {tie.guardian_id: tie.guardian for tie in ties}
    staying = set(
        Guardianship.objects.filter(guardian__in=guardians)
        .exclude(student__in=students)
        .values_list("guardian_id", flat=True)
    )
    Guardian.objects.filter(pk__in=guardians.keys() - staying).update(teacher=taker)
    shared = sorted(staying)
    copies = Guardian.objects.bulk_create(
        [
            Guardian(teacher=taker, name=guardians[pk].name, email=guardians[pk].email, phone=guardians[pk].phone)
            for pk in shared
        ]
    )
    copy_of = dict(zip(shared, copies, strict=True))
    changed = [tie for tie in ties if tie.guardian_id in copy_of]
    for tie in changed:
        tie.guardian = copy_of[tie.guardian_id]
    Guardianship.objects.bulk_update(changed, ["guardian"])


def passages_worked_on(students: Iterable[int]) -> set[int]:
    """The passages students work on or ever did, those whose markings stand in their history, and the same
    music for the other instrument."""
    students = list(students)
    work = Assignment.objects.filter(student__in=students)
    changes = MarkingChange.objects.filter(assignment__student__in=students)
    markings = Marking.objects.filter(
        Q(pk__in=work.values("marking"))
        | Q(pk__in=Assignment.to_try.through.objects.filter(assignment__student__in=students).values("marking"))
        | Q(pk__in=Step.objects.filter(assignment__student__in=students).values("marking"))
        | Q(pk__in=changes.values("before"))
        | Q(pk__in=changes.values("after"))
        | Q(pk__in=Sheet.markings.through.objects.filter(sheet__student__in=students).values("marking"))
    )
    found = set(work.filter(passage__isnull=False).values_list("passage", flat=True))
    found |= set(markings.values_list("passage", flat=True))
    for pair in MovedPassage.objects.filter(Q(passage__in=found) | Q(origin__in=found)).values_list(
        "passage", "origin"
    ):
        found.update(pair)
    return found


def _pass_passages(giver: Teacher, taker: Teacher, needed: set[int], kept: set[int], at: datetime) -> None:
    owners = dict(Passage.objects.filter(pk__in=needed).values_list("pk", "teacher"))
    goes = [pk for pk, owner in owners.items() if owner == giver.pk and pk not in kept]
    holds = [pk for pk, owner in owners.items() if pk not in set(goes) and owner != taker.pk]
    Passage.objects.filter(pk__in=goes).update(teacher=taker)
    Marking.objects.filter(passage__in=goes, teacher=giver).update(teacher=taker)
    begun = list(Draft.objects.filter(passage__in=goes, teacher=taker).values_list("passage", flat=True))
    Draft.objects.filter(passage__in=goes, teacher=giver).exclude(passage__in=begun).update(teacher=taker)
    PassageHolder.objects.filter(passage__in=goes, teacher=taker).delete()
    PassageHolder.objects.filter(passage__in=needed - kept, teacher=giver).delete()
    PassageHolder.objects.bulk_create(
        [PassageHolder(passage_id=pk, teacher=taker, since=at) for pk in holds], ignore_conflicts=True
    )


def leave(teacher: Teacher, pieces_to: Teacher | None) -> None:
    """Close an account; what the teacher made goes to a colleague, who can look after it: pieces, passages and
    markings, sets of steps. Phrases go. Raises CannotLeave."""
    with transaction.atomic():
        close_account(teacher)
        if pieces_to is None or not colleagues_of(teacher).filter(pk=pieces_to.pk).exists():
            raise CannotLeave("Choose the colleague who looks after your pieces from now on.")
        Piece.objects.filter(teacher=teacher).update(teacher=pieces_to)
        _pass_music(teacher, pieces_to)
        _pass_sets(teacher, pieces_to)
        Phrase.objects.filter(teacher=teacher).delete()


def _pass_music(giver: Teacher, taker: Teacher) -> None:
    """All passages of a closed account and the markings on them; those on a colleague's passage go to its owner."""
    own = list(Passage.objects.filter(teacher=giver).values_list("pk", flat=True))
    Passage.objects.filter(pk__in=own).update(teacher=taker)
    PassageHolder.objects.filter(Q(teacher=giver) | Q(passage__in=own, teacher=taker)).delete()
    for owner in Teacher.objects.filter(is_active=True, passages__markings__teacher=giver).distinct():
        Marking.objects.filter(teacher=giver, passage__teacher=owner).update(teacher=owner)
    begun = Draft.objects.filter(passage__in=own, teacher=taker).values_list("passage", flat=True)
    Draft.objects.filter(passage__in=own, teacher=giver).exclude(passage__in=list(begun)).update(teacher=taker)
    Draft.objects.filter(teacher=giver).delete()
    for picture in PictureUpload.objects.filter(teacher=giver):
        picture.delete()
    for upload in Upload.objects.filter(teacher=giver):
        discard_upload(upload)


def _pass_sets(giver: Teacher, taker: Teacher) -> None:
    """Sets of steps with their pictures; one whose name the taker has is named after the giver too."""
    names = set(StepSet.objects.filter(teacher=taker).values_list("name", flat=True))
    for kept in StepSet.objects.filter(teacher=giver):
        length = StepSet._meta.get_field("name").max_length or 0
        name, number = kept.name, 1
        while name in names:
            behind = f" ({giver.name[:40]}{f' {number}' if number > 1 else ''})"
            name, number = kept.name[: length - len(behind)] + behind, number + 1
        names.add(name)
        kept.teacher, kept.name = taker, name
        kept.save(update_fields=["teacher", "name"])
    StepPicture.objects.filter(teacher=giver, student=None).update(teacher=taker)
