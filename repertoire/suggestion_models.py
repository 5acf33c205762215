"""What was suggested and what became of it: the rules that made it, and whether it was taken.

A suggestion is stored when the teacher answers it. Taken, it stands in a draft until the
draft is kept as a marking; ignored, it leaves nothing but this row.
"""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import models
from django.db.models import Q

from studio.models import Teacher


class Suggestion(models.Model):
    class Aspect(models.TextChoices):
        BOW = "bow", "bowing"
        LEFT_HAND = "left hand", "fingering"

    class Answer(models.TextChoices):
        TAKEN = "taken", "taken"
        IGNORED = "ignored", "ignored"

    teacher = models.ForeignKey(Teacher, on_delete=models.CASCADE, related_name="suggestions")
    passage = models.ForeignKey("repertoire.Passage", on_delete=models.CASCADE, related_name="+")
    aspect = models.CharField(max_length=10, choices=Aspect.choices)
    character = models.CharField(max_length=60, help_text="which of the alternatives: low and clear, hooked …")
    rule_version = models.CharField(max_length=20)
    asked: models.JSONField[Any] = models.JSONField(default=dict, blank=True, help_text="what was asked for")
    marks: models.JSONField[Any] = models.JSONField(help_text="the marks of the whole passage with it written in")
    answer = models.CharField(max_length=7, choices=Answer.choices)
    draft = models.ForeignKey(
        "repertoire.Draft", on_delete=models.SET_NULL, null=True, blank=True, related_name="suggestions"
    )
    marking = models.ForeignKey(
        "repertoire.Marking",
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="+",
        help_text="the version it was kept in",
    )
    answered = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering: ClassVar = ["answered", "id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(answer="taken") | Q(draft=None, marking=None), name="ignored_suggestion_stands_nowhere"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_aspect_display()}, {self.character}: {self.get_answer_display()}"
