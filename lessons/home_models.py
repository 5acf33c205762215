"""The student's page at home: its links, what it shows, and what comes back from it.

Nothing here points at a lesson, an assignment or an observation: the page shows a copy made
when the sheet was issued, and what comes back names items by the copy's own numbers.
"""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import Any, ClassVar

from django.db import models
from django.db.models import Q
from django.utils import timezone


class StudentLinkQuerySet(models.QuerySet["StudentLink"]):
    def open_at(self, at: datetime) -> StudentLinkQuerySet:
        """Those neither revoked nor expired."""
        return self.filter(revoked=None, expires__gt=at)


class StudentLink(models.Model):
    """An address that opens a student's page. The address itself is known to nobody here: only its SHA-256 is kept.

    `sheet` is the paper it was printed on; without one it was shown to the teacher to hand on.
    """

    student = models.ForeignKey("studio.Student", on_delete=models.CASCADE, related_name="links")
    sheet = models.ForeignKey("lessons.Sheet", on_delete=models.CASCADE, null=True, blank=True, related_name="links")
    digest = models.CharField(max_length=64, unique=True, help_text="SHA-256 of the token, hexadecimal")
    made = models.DateTimeField()
    expires = models.DateTimeField()
    revoked = models.DateTimeField(null=True, blank=True)

    objects = StudentLinkQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-made", "-id"]
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(expires__gt=models.F("made")), name="link_expires_after_it_is_made"),
        ]

    def __str__(self) -> str:
        return f"a link made on {self.made:%d %b %Y}"


class HomePage(models.Model):
    """What the student's page shows: a copy made when its sheet was issued, drawings and sounding notes included."""

    student = models.ForeignKey("studio.Student", on_delete=models.CASCADE, related_name="home_pages")
    sheet = models.OneToOneField("lessons.Sheet", on_delete=models.CASCADE, related_name="home_page")
    made = models.DateTimeField()
    content: models.JSONField[Any] = models.JSONField()

    class Meta:
        ordering: ClassVar = ["-sheet_id"]

    def __str__(self) -> str:
        return f"the page of sheet {self.content.get('number', '')}"


class Tick(models.Model):
    """One touch on a day's box, in the order it was made; the last for an item and a day holds.

    `token` is made in the browser, so that what is sent twice is kept once.
    """

    token = models.UUIDField(default=uuid.uuid4, unique=True)
    student = models.ForeignKey("studio.Student", on_delete=models.CASCADE, related_name="ticks")
    sheet = models.ForeignKey("lessons.Sheet", on_delete=models.SET_NULL, null=True, related_name="ticks")
    item = models.PositiveBigIntegerField(help_text="the item's number on the sheet")
    title = models.CharField(max_length=200)
    day = models.DateField()
    done = models.BooleanField(default=True)
    minutes = models.PositiveSmallIntegerField(null=True, blank=True)
    made = models.DateTimeField(help_text="by the clock of the student's device")
    received = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["made", "id"]
        indexes: ClassVar = [models.Index(fields=["student", "day"])]

    def __str__(self) -> str:
        return f"{self.title}, {self.day:%a %d %b}"


class HomeQuestion(models.Model):
    """One line from the student to the teacher."""

    token = models.UUIDField(default=uuid.uuid4, unique=True)
    student = models.ForeignKey("studio.Student", on_delete=models.CASCADE, related_name="home_questions")
    sheet = models.ForeignKey("lessons.Sheet", on_delete=models.SET_NULL, null=True, related_name="home_questions")
    text = models.CharField(max_length=300)
    made = models.DateTimeField()
    received = models.DateTimeField(default=timezone.now)
    seen = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["made", "id"]

    def __str__(self) -> str:
        return self.text
