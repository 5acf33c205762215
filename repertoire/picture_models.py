"""Pictures of printed music: one on its way to becoming an excerpt, and the excerpt it became.

A kept picture never changes, since signs stand at places on it; migration 0005 holds that in
the database. Its file goes with the passage.
"""

from __future__ import annotations

import secrets
from typing import Any, ClassVar

from django.db import models, transaction
from django.db.models.signals import post_delete
from django.dispatch import receiver

from repertoire.technique.picture_marks import Paper
from studio.models import Teacher


def picture_path(_: models.Model, file_name: str) -> str:
    """A path in the uploads folder that can't be guessed; the file's own name is never used."""
    ending = file_name.rpartition(".")[2]
    return f"pictures/{secrets.token_urlsafe(24)}.{'pdf' if ending == 'pdf' else 'png'}"


class PictureUpload(models.Model):
    """A picture being straightened and cropped. It goes when its passage is made, when the
    teacher turns back, and after a day. `document` is the PDF it is a page of; `again` the passage
    whose picture it is, when that is cropped once more."""

    teacher = models.ForeignKey(Teacher, on_delete=models.CASCADE, related_name="picture_uploads")
    movement = models.ForeignKey("repertoire.Movement", on_delete=models.CASCADE, related_name="picture_uploads")
    image = models.FileField(upload_to=picture_path, max_length=200)
    document = models.FileField(upload_to=picture_path, max_length=200, blank=True)
    again = models.ForeignKey(
        "repertoire.Passage", on_delete=models.CASCADE, null=True, blank=True, related_name="crops"
    )
    file_name = models.CharField(max_length=200)
    page = models.PositiveIntegerField(default=1)
    pages = models.PositiveIntegerField(default=1)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    created = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering: ClassVar = ["-created", "-id"]

    def __str__(self) -> str:
        return self.file_name


class ExcerptPicture(models.Model):
    """A straightened and cropped picture, the excerpt of a passage. Sizes are pixels; `staves` are
    the top and bottom line of each stave found in it."""

    teacher = models.ForeignKey(Teacher, on_delete=models.PROTECT, related_name="excerpt_pictures")
    image = models.FileField(upload_to=picture_path, max_length=200)
    sha256 = models.CharField(max_length=64)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    staves: models.JSONField[Any] = models.JSONField(default=list, blank=True)
    file_name = models.CharField(max_length=200)
    page = models.PositiveIntegerField(default=1)
    created = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering: ClassVar = ["id"]

    def __str__(self) -> str:
        return self.file_name

    @property
    def paper(self) -> Paper:
        return Paper(self.width, self.height, tuple((top, bottom) for top, bottom in self.staves))


@receiver(post_delete, sender="repertoire.Passage")
def go_with_the_passage(sender: type[models.Model], instance: Any, **_: Any) -> None:
    """The picture of a deleted passage, unless another passage still shows it."""
    picture = ExcerptPicture.objects.filter(pk=instance.picture_id, passages=None).first()
    if picture is not None:
        picture.delete()


@receiver(post_delete, sender=ExcerptPicture)
@receiver(post_delete, sender=PictureUpload)
def files_go_with_the_row(sender: type[models.Model], instance: Any, **_: Any) -> None:
    names = [file.name for file in (instance.image, getattr(instance, "document", None)) if file]
    storage = instance.image.storage
    transaction.on_commit(lambda: [storage.delete(name) for name in names])
