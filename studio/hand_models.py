"""What a student's left hand can do yet: the limits kept when fingerings are suggested."""

from __future__ import annotations

from typing import Any

from django.db import models

from studio.models import Student

POSITIONS = (
    (0, "half"), (1, "1st"), (2, "2nd"), (3, "3rd"), (4, "4th"), (5, "5th"), (6, "6th"), (7, "7th"), (8, "8th"),
    (10, "10th"), (12, "12th"),
)  # fmt: skip


class StudentHand(models.Model):
    """Limits of one student's hand. Nothing set means no limit.

    `positions` lists the positions known (0 is half position); empty when all up to the
    highest are.
    """

    class OpenStrings(models.TextChoices):
        EITHER = "", "as the music suggests"
        WANTED = "wanted", "wanted"
        AVOIDED = "avoided", "avoided"

    student = models.OneToOneField(Student, on_delete=models.CASCADE, related_name="hand")
    highest = models.PositiveSmallIntegerField(
        "highest position", null=True, blank=True, choices=POSITIONS[1:], help_text="nothing above it is suggested"
    )
    positions: models.JSONField[Any] = models.JSONField("positions known", default=list, blank=True)
    extensions = models.BooleanField("extensions are taught", default=True)
    small_hand = models.BooleanField("a small hand: stretches cost more", default=False)
    open_strings = models.CharField(
        "open strings", max_length=7, choices=OpenStrings.choices, blank=True, default=OpenStrings.EITHER
    )
    avoid_fourth = models.BooleanField("avoid the fourth finger", default=False)

    def __str__(self) -> str:
        return f"The hand of {self.student}"

    @property
    def words(self) -> str:
        """The limits in words, "" when there are none."""
        names = dict(POSITIONS)
        parts = []
        if self.highest is not None:
            parts.append(f"up to {names.get(self.highest, f'{self.highest}th')} position")
        if self.positions:
            parts.append("knows " + ", ".join(names.get(p, f"{p}th") for p in sorted(self.positions)) + " position")
        if not self.extensions:
            parts.append("no extensions")
        if self.small_hand:
            parts.append("small hand")
        if self.open_strings:
            parts.append(f"open strings {self.get_open_strings_display()}")
        if self.avoid_fourth:
            parts.append("without the fourth finger")
        return "; ".join(parts)
