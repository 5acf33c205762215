"""Parts and passages moved to the other instrument, and what is carried between them.

A moved part holds the same written bars under the same addresses, with other notes, key
and clef, so that a mark of one stands at the same place in the other.
"""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from studio.models import Teacher


class MovedPart(models.Model):
    """How a part came from a revision of another: by which interval, in which clef."""

    class How(models.TextChoices):
        FIFTH = "fifth", "a fifth away, the same fingers on the neighbouring strings"
        AS_WRITTEN = "as written", "at the original pitch, fingered afresh"
        OCTAVE = "octave", "an octave away, fingered afresh"

    class Clef(models.TextChoices):
        CHOSEN = "", "alto, and treble for long high passages"
        ALTO = "alto", "alto throughout"
        TREBLE = "treble", "treble throughout"

    part = models.OneToOneField("repertoire.Part", on_delete=models.CASCADE, related_name="moved")
    origin = models.ForeignKey("repertoire.Revision", on_delete=models.CASCADE, related_name="moved_parts")
    how = models.CharField(max_length=10, choices=How.choices)
    clef = models.CharField(max_length=6, choices=Clef.choices, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["origin", "how", "clef"], name="one_moved_part_of_a_kind"),
        ]

    def __str__(self) -> str:
        return f"{self.part} from {self.origin}"


class MovedPassage(models.Model):
    """A passage of a moved part and the passage it came from."""

    passage = models.OneToOneField("repertoire.Passage", on_delete=models.CASCADE, related_name="+")
    origin = models.ForeignKey("repertoire.Passage", on_delete=models.PROTECT, related_name="moved_passages")

    class Meta:
        verbose_name = "version for another instrument"
        verbose_name_plural = "versions for another instrument"
        constraints: ClassVar = [
            models.CheckConstraint(condition=~Q(passage=F("origin")), name="passage_not_moved_to_itself"),
        ]

    def __str__(self) -> str:
        return f"{self.passage} from {self.origin}"


class CarriedMarking(models.Model):
    """A marking of one passage answered in the other: carried there as `made`, or left (None)."""

    teacher = models.ForeignKey(Teacher, on_delete=models.CASCADE, related_name="+")
    marking = models.ForeignKey("repertoire.Marking", on_delete=models.CASCADE, related_name="+")
    passage = models.ForeignKey("repertoire.Passage", on_delete=models.CASCADE, related_name="+")
    made = models.ForeignKey("repertoire.Marking", on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    answered = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["marking", "passage"], name="one_answer_per_marking_and_passage"),
        ]

    def __str__(self) -> str:
        return f"{self.marking} in {self.passage}"
