"""What colleagues see of each other's work: markings shown to the studio, passages held by two."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.utils import timezone

from repertoire.models import Marking, Passage
from studio.models import Teacher


class SharedMarking(models.Model):
    """A marking its owner shows to her colleagues, to read and to copy. The marking never changes."""

    marking = models.OneToOneField(Marking, on_delete=models.CASCADE, related_name="shared")
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["-at", "-id"]

    def __str__(self) -> str:
        return str(self.marking)


class PassageHolder(models.Model):
    """A second teacher who works on a passage, because students of both of them do.

    It comes from handing students over: the passage stays its owner's, the holder reads it,
    marks it and assigns it.
    """

    passage = models.ForeignKey(Passage, on_delete=models.CASCADE, related_name="holders")
    teacher = models.ForeignKey(Teacher, on_delete=models.CASCADE, related_name="held")
    since = models.DateTimeField()

    class Meta:
        ordering: ClassVar = ["since", "id"]
        verbose_name = "colleague who works on it too"
        verbose_name_plural = "colleagues who work on it too"
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["passage", "teacher"], name="one_holder_per_passage"),
        ]

    def __str__(self) -> str:
        return f"{self.passage}, held by {self.teacher}"
