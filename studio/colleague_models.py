"""Colleagues in one studio: the invitation of a new one, and the record of a student handed over."""

from __future__ import annotations

import hashlib
import secrets
from datetime import datetime, timedelta
from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from studio.models import Student, Studio, Teacher

INVITATION_LASTS = timedelta(days=7)


def token_digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


class Invitation(models.Model):
    """A link for one new teacher, once. Of its token only the SHA-256 is stored."""

    studio = models.ForeignKey(Studio, on_delete=models.CASCADE, related_name="invitations")
    invited_by = models.ForeignKey(Teacher, on_delete=models.PROTECT, related_name="invitations")
    note = models.CharField("for whom", max_length=120, blank=True)
    token_sha256 = models.CharField(max_length=64, unique=True)
    created = models.DateTimeField()
    expires = models.DateTimeField()
    used = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["-created", "-id"]

    def __str__(self) -> str:
        return self.note or f"Invitation of {self.created:%d %b %Y}"

    @classmethod
    def write(cls, teacher: Teacher, at: datetime, note: str = "") -> tuple[Invitation, str]:
        """A new invitation into a teacher's studio and its token, which is told this once."""
        token = secrets.token_urlsafe(32)
        made = cls.objects.create(
            studio_id=teacher.studio_id,
            invited_by=teacher,
            note=note[:120],
            token_sha256=token_digest(token),
            created=at,
            expires=at + INVITATION_LASTS,
        )
        return made, token


class Handover(models.Model):
    """A student went from one teacher to a colleague. The record stays with the student."""

    student = models.ForeignKey(Student, on_delete=models.CASCADE, related_name="handovers")
    giver = models.ForeignKey(Teacher, on_delete=models.PROTECT, related_name="handed_over")
    taker = models.ForeignKey(Teacher, on_delete=models.PROTECT, related_name="taken_over")
    at = models.DateTimeField()
    reason = models.CharField(max_length=300)

    class Meta:
        ordering: ClassVar = ["-at", "-id"]
        constraints: ClassVar = [
            models.CheckConstraint(condition=~Q(giver=F("taker")), name="handed_to_somebody_else"),
        ]

    def __str__(self) -> str:
        return f"{self.student}: from {self.giver} to {self.taker}"
