"""What a studio has set about the bow: hair, limits, and the weights of the planned reading."""

from __future__ import annotations

from typing import Any

from django.db import models

from studio.models import Studio


class BowChoice(models.Model):
    """Only what differs from the defaults is stored, by name; `bow.py` reads it."""

    studio = models.OneToOneField(Studio, on_delete=models.CASCADE, related_name="bow_choice")
    settings: models.JSONField[Any] = models.JSONField(default=dict, blank=True, help_text="fields of BowSettings")
    costs: models.JSONField[Any] = models.JSONField(default=dict, blank=True, help_text="fields of PlanCosts")
    updated = models.DateTimeField(auto_now=True)

    def __str__(self) -> str:
        return f"Bow settings of {self.studio}"
