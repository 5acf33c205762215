"""Pieces, parts and their revisions, movements, passages, markings and drafts.

What must never change (a marking, a passage's bounds, a revision's bytes, a note list) is
held by triggers in migration 0002, so that no code can forget it.
"""

from __future__ import annotations

import secrets
from fractions import Fraction
from typing import Any, ClassVar

from django.conf import settings
from django.db import models, transaction
from django.db.models import F, Q

from repertoire.technique.line import beat_label
from studio.models import Teacher


def unguessable(folder: str, file_name: str) -> str:
    """A path inside the uploads folder that tells nothing and can't be guessed."""
    ending = file_name.rpartition(".")[2].lower()
    return f"{folder}/{secrets.token_urlsafe(24)}" + (
        f".{ending}" if ending in ("mxl", "xml", "musicxml", "abc") else ""
    )


def part_path(_: models.Model, file_name: str) -> str:
    return unguessable("parts", file_name)


def upload_path(_: models.Model, file_name: str) -> str:
    return unguessable("pending", file_name)


class Piece(models.Model):
    teacher = models.ForeignKey(Teacher, on_delete=models.PROTECT, related_name="pieces")
    title = models.CharField(max_length=200)
    composer = models.CharField(max_length=120, blank=True)
    notes = models.TextField(blank=True)
    created = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering: ClassVar = ["title", "id"]

    def __str__(self) -> str:
        return f"{self.title} ({self.composer})" if self.composer else self.title


class Part(models.Model):
    """One instrument's part of a piece in one edition; its file is a revision."""

    piece = models.ForeignKey(Piece, on_delete=models.CASCADE, related_name="parts")
    name = models.CharField(max_length=120)
    instrument = models.CharField(max_length=20, blank=True)
    edition = models.CharField(max_length=200, blank=True)
    rights = models.CharField(max_length=200, blank=True, help_text="who may see it, and by what right it is kept")
    created = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering: ClassVar = ["id"]

    def __str__(self) -> str:
        return f"{self.piece.title}: {self.name}"

    @property
    def revision(self) -> Revision | None:
        return self.revisions.order_by("-number").first()


class Revision(models.Model):
    """The bytes a part was read from. Replacing a part's file adds a revision."""

    class Source(models.TextChoices):
        MUSICXML = "musicxml", "MusicXML"
        ABC = "abc", "ABC"
        MOVED = "moved", "moved from another instrument"
        NONE = "none", "no notation"

    part = models.ForeignKey(Part, on_delete=models.CASCADE, related_name="revisions")
    number = models.PositiveSmallIntegerField(default=1)
    source = models.CharField(max_length=8, choices=Source.choices)
    file = models.FileField(upload_to=part_path, max_length=200, blank=True)
    file_name = models.CharField(max_length=200, blank=True)
    sha256 = models.CharField(max_length=64, blank=True)
    part_ref = models.CharField(max_length=120, blank=True, help_text="which part of the file")
    left_out: models.JSONField[Any] = models.JSONField(default=list, blank=True)
    created = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering: ClassVar = ["part", "number"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["part", "number"], name="one_revision_per_number"),
        ]

    def __str__(self) -> str:
        return f"{self.part}, revision {self.number}"

    @property
    def typed(self) -> bool:
        """True for music typed in here, which can be gone on with; false for an imported file."""
        return self.source == self.Source.ABC and not self.part_ref


class Upload(models.Model):
    """A file between being sent and its part being chosen. It goes when the part is read,
    when the teacher turns back, and after a day."""

    teacher = models.ForeignKey(Teacher, on_delete=models.CASCADE, related_name="uploads")
    piece = models.ForeignKey(Piece, on_delete=models.CASCADE, null=True, blank=True, related_name="uploads")
    part = models.ForeignKey(
        Part,
        on_delete=models.CASCADE,
        null=True,
        blank=True,
        related_name="uploads",
        help_text="whose file it replaces",
    )
    file = models.FileField(upload_to=upload_path, max_length=200)
    file_name = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64)
    contents: models.JSONField[Any] = models.JSONField(help_text="the movements and parts found in it")
    created = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering: ClassVar = ["-created", "-id"]

    def __str__(self) -> str:
        return self.file_name


class Movement(models.Model):
    """One movement of a revision. Its notes stand in a row of their own (`Notation`), so
    that a list of passages never reads whole movements.

    `line` and `printed` may be given when a movement is made; they read as None where
    there is no notation.
    """

    revision = models.ForeignKey(Revision, on_delete=models.CASCADE, related_name="movements")
    number = models.PositiveSmallIntegerField(default=1)
    title = models.CharField(max_length=200, blank=True)
    bar_count = models.PositiveIntegerField()
    notated = models.BooleanField(default=False, editable=False)

    class Meta:
        ordering: ClassVar = ["revision", "number"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["revision", "number"], name="one_movement_per_number"),
            models.CheckConstraint(condition=Q(bar_count__gt=0), name="movement_has_bars"),
        ]

    def __str__(self) -> str:
        return self.title or f"Movement {self.number}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        given = self.__dict__.pop("_notation_given", {})
        fresh = given.get("line") is not None and not self.notated
        self.notated = self.notated or fresh
        with transaction.atomic():
            super().save(*args, **kwargs)
            if fresh:
                printed = given.get("printed") or {"format": 1, "marks": []}
                Notation.objects.create(movement=self, line=given["line"], printed=printed)

    @property
    def line(self) -> Any:
        """The stored note list (see notation/storing.py), None without notation."""
        if self.pk is None:
            return self._given.get("line")
        return self.notation.line if self.notated else None

    @line.setter
    def line(self, stored: Any) -> None:
        self._given["line"] = stored

    @property
    def printed(self) -> Any:
        """The marks printed in the part, as stored; None without notation."""
        if self.pk is None:
            return self._given.get("printed")
        return self.notation.printed if self.notated else None

    @printed.setter
    def printed(self, stored: Any) -> None:
        self._given["printed"] = stored

    @property
    def _given(self) -> dict[str, Any]:
        given: dict[str, Any] = self.__dict__.setdefault("_notation_given", {})
        return given


class Notation(models.Model):
    """The note list of a movement and the marks printed in it, as stored."""

    movement = models.OneToOneField(Movement, on_delete=models.CASCADE, primary_key=True, related_name="notation")
    line: models.JSONField[Any] = models.JSONField()
    printed: models.JSONField[Any] = models.JSONField()

    def __str__(self) -> str:
        return f"Notes of {self.movement}"


class FormerMovement(models.Model):
    """Where a movement went that was stored afresh with other bar numbers, for pages opened before."""

    former = models.PositiveBigIntegerField(primary_key=True)
    revision = models.ForeignKey(Revision, on_delete=models.CASCADE, related_name="former_movements")
    number = models.PositiveSmallIntegerField()

    def __str__(self) -> str:
        return f"{self.former}, now movement {self.number} of {self.revision}"


class Passage(models.Model):
    """A cut of a movement, from bar and beat to bar and beat. Its bounds never change.

    Bars are written-bar indexes from 1; beats are fractions as text, counted from 1 as in
    the printed bar; `end_beat` is the last beat included, "" for the whole bar.
    """

    teacher = models.ForeignKey(Teacher, on_delete=models.PROTECT, related_name="passages")
    movement = models.ForeignKey(Movement, on_delete=models.PROTECT, related_name="passages")
    title = models.CharField(max_length=120)
    purpose = models.CharField("what it is for", max_length=200, blank=True)
    start_bar = models.PositiveIntegerField()
    start_beat = models.CharField(max_length=12, blank=True)
    end_bar = models.PositiveIntegerField()
    end_beat = models.CharField(max_length=12, blank=True)
    first_number = models.CharField("first bar as printed", max_length=12)
    last_number = models.CharField("last bar as printed", max_length=12)
    extends = models.ForeignKey("self", on_delete=models.SET_NULL, null=True, blank=True, related_name="extensions")
    picture = models.ForeignKey(
        "repertoire.ExcerptPicture",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="passages",
        help_text="the excerpt, where a picture carries it instead of notation",
    )
    created = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering: ClassVar = ["movement", "start_bar", "id"]
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(end_bar__gte=F("start_bar")), name="passage_runs_forward"),
        ]

    def __str__(self) -> str:
        return self.title

    @property
    def bars(self) -> str:
        """Printed numbers: "12" or "12–19"."""
        return self.first_number if self.first_number == self.last_number else f"{self.first_number}–{self.last_number}"

    @property
    def span(self) -> str:
        """Bars with their beats, for people: "12", "12–19", "12 (beat 2) – 19"."""
        start = f"{self.first_number} (beat {beat_label(Fraction(self.start_beat))})" if self.start_beat else ""
        end = f"{self.last_number} (beat {beat_label(Fraction(self.end_beat))})" if self.end_beat else ""
        if not start and not end:
            return self.bars
        return f"{start or self.first_number} – {end or self.last_number}"

    @property
    def has_notation(self) -> bool:
        return self.movement.notated and not self.has_picture

    @property
    def has_picture(self) -> bool:
        """True where a picture of the printed music is the excerpt."""
        return self.picture_id is not None

    @property
    def has_excerpt(self) -> bool:
        """True where there is something to show and to mark: notation or a picture."""
        return self.has_picture or self.has_notation


class Marking(models.Model):
    """One immutable version of the marks on a passage. A change is a child."""

    class Origin(models.TextChoices):
        PRINTED = "printed", "as printed"
        OWN = "own", "my own"
        EDITION = "edition", "another edition"
        COLLEAGUE = "colleague", "a colleague"
        TEACHER = "teacher", "my teacher"
        RECORDING = "recording", "a recording"
        COMBINED = "combined", "combined from two markings"
        SUGGESTED = "suggested", "a suggestion taken"
        CARRIED = "carried", "carried over"

    passage = models.ForeignKey(Passage, on_delete=models.PROTECT, related_name="markings")
    teacher = models.ForeignKey(Teacher, on_delete=models.PROTECT, related_name="markings")
    number = models.PositiveIntegerField()
    name = models.CharField(max_length=120)
    origin = models.CharField(max_length=10, choices=Origin.choices, default=Origin.OWN)
    source = models.CharField(max_length=200, blank=True, help_text="private: whose, which edition or recording")
    reason = models.CharField(max_length=300, blank=True)
    parent = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="children")
    marks: models.JSONField[Any] = models.JSONField()
    bow_digest = models.CharField(max_length=64)
    left_hand_digest = models.CharField(max_length=64)
    words_digest = models.CharField(max_length=64)
    rule_version = models.CharField(max_length=20, blank=True)
    hand_changes = models.CharField("changed by hand in a suggestion", max_length=300, blank=True)
    created = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering: ClassVar = ["passage", "number"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["passage", "number"], name="one_marking_per_number"),
            models.CheckConstraint(condition=Q(parent=None) | ~Q(parent=F("id")), name="marking_not_its_own_parent"),
        ]

    def __str__(self) -> str:
        return self.name


class Draft(models.Model):
    """Work in progress on a passage: saved at every change, with what undo and redo need."""

    teacher = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="drafts")
    passage = models.ForeignKey(Passage, on_delete=models.CASCADE, related_name="drafts")
    parent = models.ForeignKey(Marking, on_delete=models.PROTECT, null=True, related_name="drafts")
    marks: models.JSONField[Any] = models.JSONField()
    undo: models.JSONField[Any] = models.JSONField(default=list)
    redo: models.JSONField[Any] = models.JSONField(default=list)
    revision = models.PositiveIntegerField(
        default=0, help_text="counts changes, so that two open pages notice each other"
    )
    updated = models.DateTimeField(auto_now=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["teacher", "passage"], name="one_draft_per_passage"),
        ]

    def __str__(self) -> str:
        return f"Draft on {self.passage}"


from repertoire.bow_models import BowChoice as BowChoice  # noqa: E402
from repertoire.moved_models import CarriedMarking as CarriedMarking  # noqa: E402
from repertoire.moved_models import MovedPart as MovedPart  # noqa: E402
from repertoire.moved_models import MovedPassage as MovedPassage  # noqa: E402
from repertoire.picture_models import ExcerptPicture as ExcerptPicture  # noqa: E402
from repertoire.picture_models import PictureUpload as PictureUpload  # noqa: E402
from repertoire.sharing_models import PassageHolder as PassageHolder  # noqa: E402
from repertoire.sharing_models import SharedMarking as SharedMarking  # noqa: E402
from repertoire.suggestion_models import Suggestion as Suggestion  # noqa: E402
