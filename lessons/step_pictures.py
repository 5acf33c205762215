"""Pictures that stand in an instruction: a drawing, a photo of a bow hold, a line of notation from paper.

A picture is drawn anew from its pixels, as excerpts are (see repertoire/notation/scans.py): nothing
else of the file is kept. It belongs to the student whose step it stands in, so that it goes with the
record; one in a set of steps belongs to the teacher alone. It never changes: another is put in its
place, and one that no step names any more goes.
"""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any, ClassVar, cast

from django.conf import settings
from django.db import models, transaction
from django.db.models.signals import post_delete
from django.dispatch import receiver
from PIL import Image

from repertoire.notation.scans import (
    EXCERPT_WIDTH,
    LEAST_HEIGHT,
    ScanError,
    as_png,
    find_staves,
    read_scan,
    reduced,
    whitened,
)
from repertoire.picture_files import store
from repertoire.picture_models import picture_path
from repertoire.pictures import COLUMN_MM, printed, uri_of
from repertoire.technique.picture_marks import Paper
from studio.models import Student, Teacher

LONG_SIDE = 1000  # pixels of a picture without staves: 295 to the inch at its largest on paper
MOST_WIDTH_MM, MOST_HEIGHT_MM = 86.0, 48.0  # on paper, without staves
SHARP_DPI = 110.0
WORDS_AT_MOST = 120
INK = 225  # greys below are ink when empty paper is cut away
EDGE = 12  # pixels of paper left around


class StepPicture(models.Model):
    """A picture of an instruction. Sizes are pixels; `staves` are the top and bottom line of each stave
    found in it; `words` say what it shows to whoever can't see it."""

    teacher = models.ForeignKey(Teacher, on_delete=models.PROTECT, related_name="step_pictures")
    student = models.ForeignKey(
        Student, on_delete=models.CASCADE, null=True, blank=True, related_name="step_pictures",
        help_text="whose step it stands in; nobody's when a set of steps keeps it",
    )  # fmt: skip
    image = models.FileField(upload_to=picture_path, max_length=200)
    sha256 = models.CharField(max_length=64)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    staves: models.JSONField[Any] = models.JSONField(default=list, blank=True)
    words = models.CharField(max_length=WORDS_AT_MOST)
    created = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering: ClassVar = ["-created", "-id"]

    def __str__(self) -> str:
        return self.words

    def kept_files(self) -> list[Path]:
        return [Path(self.image.path)]

    def copies(self, teachers: set[int]) -> list[StepPicture]:
        """The same picture with any of the teachers: in other steps and in sets of steps."""
        return list(StepPicture.objects.filter(teacher__in=teachers, sha256=self.sha256).exclude(pk=self.pk))

    def take_out(self) -> None:
        """Take it out of the steps, the sets and the pages at home it stands in; nothing is left of it."""
        from lessons.home_models import HomePage
        from lessons.models import Step
        from lessons.step_sets import StepSet

        Step.objects.filter(picture=self).update(picture=None)
        for kept in StepSet.objects.filter(teacher=self.teacher_id) if self.student_id is None else ():
            steps = [{**s, "picture": None} if s.get("picture") == self.pk else s for s in kept.steps]
            if steps != kept.steps:
                kept.steps = steps
                kept.save(update_fields=["steps"])
        uri = self.uri
        for page in HomePage.objects.filter(student=self.student_id) if self.student_id and uri else ():
            steps = [step for item in page.content["items"] for step in item["steps"]]
            shown = [step for step in steps if (step.get("picture") or {}).get("uri") == uri]
            for step in shown:
                step["picture"] = None
            if shown:
                page.save(update_fields=["content"])
        self.delete()

    @property
    def paper(self) -> Paper:
        return Paper(self.width, self.height, tuple((top, bottom) for top, bottom in self.staves))

    @property
    def uri(self) -> str:
        """The picture as a data URI; "" when its file is gone."""
        return self.uri_within()

    def uri_within(self, width_px: int = 0) -> str:
        """The same, at most so many points wide (0: as it is)."""
        return uri_of(cast(Any, self), width_px)


@receiver(post_delete, sender="lessons.Step")
def picture_goes_with_its_last_step(sender: type[models.Model], instance: Any, **_: Any) -> None:
    forget_unused(instance.picture_id)


@receiver(post_delete, sender="lessons.StepSet")
def pictures_go_with_their_set(sender: type[models.Model], instance: Any, **_: Any) -> None:
    for step in instance.steps:
        forget_unused(step.get("picture"))


@receiver(post_delete, sender=StepPicture)
def file_goes_with_the_row(sender: type[models.Model], instance: StepPicture, **_: Any) -> None:
    name, storage = instance.image.name or "", instance.image.storage
    transaction.on_commit(lambda: storage.delete(name))


def keep_step_picture(
    teacher: Teacher, student: Student | None, content: bytes, words: str, *, on_paper: bool
) -> StepPicture:
    """Read a PNG, a JPEG or the first page of a PDF and keep what it shows. `on_paper` tells that it is
    drawn or printed: the paper is made white and its empty edges go. Raises ScanError, keeping nothing."""
    words = " ".join(words.split())[:WORDS_AT_MOST]
    if not words:
        raise ScanError("Write in a few words what the picture shows, for whoever can’t see it.")
    image = read_scan(content, limit=settings.UPLOAD_LIMIT).image
    if on_paper:
        image = _without_empty_edges(whitened(image))
    staves = find_staves(image)
    smaller = reduced(image, max(EXCERPT_WIDTH, image.height) if staves else LONG_SIDE)
    if smaller.size != image.size:
        staves = find_staves(smaller)
    return _store(teacher, student, smaller, words, [list(stave) for stave in staves])


def copy_step_picture(picture: StepPicture, teacher: Teacher, student: Student | None) -> StepPicture:
    """The same picture for another student, or for a set of steps. Raises ScanError when its file is gone."""
    try:
        with picture.image.open("rb") as file:
            content = file.read()
    except OSError:
        raise ScanError("The file of this picture is missing: send it again.") from None
    return store(
        StepPicture(
            teacher=teacher, student=student, sha256=picture.sha256, width=picture.width, height=picture.height,
            staves=picture.staves, words=picture.words,
        ),
        content,
    )  # fmt: skip


def _store(
    teacher: Teacher, student: Student | None, image: Image.Image, words: str, staves: list[list[float]]
) -> StepPicture:
    content = as_png(image)
    made = StepPicture(
        teacher=teacher, student=student, sha256=hashlib.sha256(content).hexdigest(), width=image.width,
        height=image.height, staves=staves, words=words,
    )  # fmt: skip
    return store(made, content)


def _without_empty_edges(image: Image.Image) -> Image.Image:
    """The picture without the empty paper around what is drawn on it."""
    found = image.point([255 if grey < INK else 0 for grey in range(256)]).getbbox()
    if found is None:
        raise ScanError("There is nothing to be seen on this picture.")
    left, top, right, bottom = found
    if min(right - left, bottom - top) < LEAST_HEIGHT // 2:
        return image
    return image.crop(
        (max(0, left - EDGE), max(0, top - EDGE), min(image.width, right + EDGE), min(image.height, bottom + EDGE))
    )


def paper_size(picture: StepPicture, column_mm: float = COLUMN_MM, staff_mm: float = 8.0) -> tuple[float, float]:
    """Width and height in mm on a sheet: staves at the student's height, anything else as large as half a
    column and the picture's points allow."""
    if picture.paper.staff_px:
        found = printed(picture.paper, column_mm, staff_mm)
        return found.width_mm, found.height_mm
    width = min(
        MOST_WIDTH_MM, column_mm, MOST_HEIGHT_MM * picture.width / picture.height, picture.width / SHARP_DPI * 25.4
    )
    return width, width * picture.height / picture.width


def forget_unused(picture_id: int | None) -> None:
    """Remove a picture that no step and no set of steps names any more."""
    from lessons.models import Step
    from lessons.step_sets import StepSet

    picture = StepPicture.objects.filter(pk=picture_id).first() if picture_id else None
    if picture is None or Step.objects.filter(picture=picture).exists():
        return
    if picture.student_id is None:
        kept = StepSet.objects.filter(teacher=picture.teacher_id)
        if any(step.get("picture") == picture.pk for found in kept for step in found.steps):
            return
    picture.delete()
