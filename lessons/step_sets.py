"""Sets of practice steps a teacher keeps for reuse: words, tempo shares and kinds of stave.

A set is not tied to a passage. Its recipes hold no addresses; where one needs a note (a
shift, a stretch), it is offered for the passage's own when the set is used.
"""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import models

from studio.models import Teacher


class StepSet(models.Model):
    teacher = models.ForeignKey(Teacher, on_delete=models.CASCADE, related_name="step_sets")
    name = models.CharField(max_length=80)
    steps: models.JSONField[Any] = models.JSONField(default=list)
    used = models.PositiveIntegerField(default=0)

    class Meta:
        ordering: ClassVar = ["-used", "name"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["teacher", "name"], name="one_step_set_per_name")]

    def __str__(self) -> str:
        return self.name
