"""Cropping the picture of a passage once more: a new passage takes its place, with its signs carried along.

A kept picture never changes, since signs stand at places on it. What lies outside the new edges can't be
carried and is told.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from django.core.files.base import ContentFile
from django.db import transaction
from django.db.models import ProtectedError

from repertoire.deleting import delete_passage, passage_uses
from repertoire.markings import make_marking, marks_of, printed_marking
from repertoire.models import Marking, Passage, PictureUpload, SharedMarking
from repertoire.notation.scans import Crop
from repertoire.pictures import discard_old_uploads
from repertoire.sharing import share
from repertoire.technique.marks import Mark
from repertoire.technique.picture_marks import describe
from repertoire.technique.picture_places import in_crop, parse_place
from studio.models import Teacher


def open_again(passage: Passage, teacher: Teacher) -> PictureUpload:
    """The picture of a passage as one to be straightened and cropped."""
    picture = passage.picture
    assert picture is not None
    discard_old_uploads(teacher)
    with picture.image.open("rb") as file:
        content = file.read()
    upload = PictureUpload(
        teacher=teacher,
        movement=passage.movement,
        again=passage,
        file_name=picture.file_name,
        page=picture.page,
        width=picture.width,
        height=picture.height,
    )
    try:
        upload.image.save("page.png", ContentFile(content), save=False)
        upload.save()
    except BaseException:
        upload.image.storage.delete(upload.image.name or "")
        raise
    return upload


@dataclass(frozen=True, slots=True)
class Replaced:
    """What came of it: in words what lies outside the new edges, and whether the passage before is gone."""

    lost: tuple[str, ...]
    gone: bool


def take_the_place(before: Passage, now: Passage, crop: Crop) -> Replaced:
    """Carry the signs of a passage to its picture cropped again; it goes where nothing uses it. Call it in
    the transaction that makes the new one."""
    lost = carry_signs(before, now, crop)
    if passage_uses(before) or before.drafts.exists():
        return Replaced(lost, gone=False)
    try:
        with transaction.atomic():
            now.extends = before.extends
            now.save(update_fields=["extends"])
            before.extensions.exclude(pk=now.pk).update(extends=now)
            delete_passage(before)
    except ProtectedError:  # somebody has begun to use it
        now.extends = before
        return Replaced(lost, gone=False)
    return Replaced(lost, gone=True)


def carry_signs(before: Passage, now: Passage, crop: Crop) -> tuple[str, ...]:
    """Every version of the signs, at its places in the new crop, in the row and with the dates they had.
    Returns in words what lies outside."""
    assert before.picture is not None
    lost: list[str] = []
    made: dict[int, Marking] = {}
    for marking in Marking.objects.filter(passage=before).order_by("number"):
        if marking.origin == Marking.Origin.PRINTED:
            made[marking.pk] = printed_marking(now, now.teacher, created=marking.created)
            continue
        marks = []
        for mark in marks_of(marking):
            moved = _moved(mark, (before.picture.width, before.picture.height), crop)
            if moved is None:
                lost.append(f"“{marking.name}”, {describe(mark, before.picture.paper)}")
            else:
                marks.append(moved)
        made[marking.pk] = make_marking(
            now,
            now.teacher,
            marks,
            name=marking.name,
            origin=marking.origin,
            reason=marking.reason,
            parent=made.get(marking.parent_id or 0),
            source=marking.source,
            rule_version=marking.rule_version,
            hand_changes=marking.hand_changes,
            created=marking.created,
        )
        if SharedMarking.objects.filter(marking=marking).exists():
            share(made[marking.pk])
    printed_marking(now, now.teacher)
    return tuple(lost)


def _moved(mark: Mark, size: tuple[int, int], crop: Crop) -> Mark | None:
    edges = (crop.angle, crop.left, crop.top, crop.right, crop.bottom)
    at = in_crop(parse_place(mark.at), size, *edges)
    to = in_crop(parse_place(mark.to), size, *edges) if mark.to else None
    if at is None or (mark.to and to is None):
        return None
    return replace(mark, at=at.address, to=to.address if to else "")
