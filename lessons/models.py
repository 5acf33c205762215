"""Lessons, assignments, steps, observations, listening points and issued sheets.

What was heard and which marking was changed is appended, never rewritten: the triggers of
migration 0002 hold that in the database, and the rows refuse to be deleted one by one.
`token`s are made in the browser, so that what a lost connection sends twice is stored once.
"""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, ClassVar

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from repertoire.models import Marking, Passage, Piece
from repertoire.technique.tempo_ladder import LADDERS, rungs
from studio.models import Student, Teacher


class AppendOnlyError(Exception):
    """Something that is only ever added to was about to be deleted."""


class AppendOnlyQuerySet(models.QuerySet[Any]):
    def delete(self) -> tuple[int, dict[str, int]]:
        raise AppendOnlyError("What was noted in a lesson stays; add a correction.")


class AppendOnly(models.Model):
    """Rows that are only added. Erasing a person's record on request removes them below this level."""

    class Meta:
        abstract = True

    def delete(self, *args: Any, **kwargs: Any) -> tuple[int, dict[str, int]]:
        raise AppendOnlyError("What was noted in a lesson stays; add a correction.")


class Theme(models.TextChoices):
    INTONATION = "intonation", "intonation"
    RHYTHM = "rhythm", "rhythm"
    TONE = "tone", "tone"
    BOW = "bow", "bow"
    LEFT_HAND = "left hand", "left hand"
    MEMORY = "memory", "memory"
    SHAPE = "shape", "musical shape"


class Lesson(models.Model):
    class Attendance(models.TextChoices):
        PLANNED = "", "not yet noted"
        ATTENDED = "attended", "attended"
        LATE = "late", "came late"
        EXCUSED = "excused", "missed with notice"
        MISSED = "missed", "missed without notice"
        CANCELLED = "cancelled", "cancelled by the teacher"

    teacher = models.ForeignKey(Teacher, on_delete=models.PROTECT, related_name="lessons")
    student = models.ForeignKey(Student, on_delete=models.PROTECT, related_name="lessons")
    number = models.PositiveIntegerField(help_text="counts this student's lessons")
    starts = models.DateTimeField()
    minutes = models.PositiveSmallIntegerField(default=30, validators=[MinValueValidator(5), MaxValueValidator(300)])
    attendance = models.CharField(max_length=9, choices=Attendance.choices, blank=True, default=Attendance.PLANNED)
    note = models.TextField("note (shared on reports)", blank=True)
    private_note = models.TextField("private note", blank=True)
    note_saved = models.DateTimeField(null=True, blank=True)
    note_version = models.PositiveIntegerField(default=0, help_text="counts savings, so that two pages notice")
    note_writer = models.UUIDField(null=True, blank=True, help_text="the open page that saved the note last")
    sentence = models.CharField("sentence for the week", max_length=300, blank=True)
    finished = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["-starts", "-id"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["student", "number"], name="one_lesson_per_number"),
            models.UniqueConstraint(fields=["student", "starts"], name="one_lesson_at_a_time"),
        ]
        indexes: ClassVar = [models.Index(fields=["teacher", "starts"])]

    def __str__(self) -> str:
        return f"Lesson {self.number} with {self.student}"

    @property
    def ends(self) -> datetime:
        return self.starts + timedelta(minutes=self.minutes)


class Assignment(models.Model):
    """A passage (or bars of a piece) a student works on, with the marking in use.

    The marking only changes through a MarkingChange with a reason; `state` and `ended` through a
    StateChange. There is one open assignment per student and passage, so each student has one
    current marking of it.
    """

    class State(models.TextChoices):
        NEW = "new", "new"
        WORKING = "working", "working"
        SECURE = "secure", "secure"
        PERFORMED = "performed", "performed"
        RESTING = "resting", "resting"

    student = models.ForeignKey(Student, on_delete=models.PROTECT, related_name="assignments")
    piece = models.ForeignKey(Piece, on_delete=models.PROTECT, related_name="assignments")
    passage = models.ForeignKey(Passage, on_delete=models.PROTECT, null=True, blank=True, related_name="assignments")
    bars = models.CharField("bars, without a passage", max_length=60, blank=True)
    marking = models.ForeignKey(Marking, on_delete=models.PROTECT, null=True, blank=True, related_name="assignments")
    to_try: models.ManyToManyField[Marking, Any] = models.ManyToManyField(
        Marking, blank=True, related_name="tried_in", verbose_name="also to try"
    )
    state = models.CharField(max_length=9, choices=State.choices, default=State.NEW)
    tempo_now = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=[MinValueValidator(20), MaxValueValidator(320)]
    )
    tempo_goal = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=[MinValueValidator(20), MaxValueValidator(320)]
    )
    tempo_unit = models.CharField(
        max_length=14,
        default="quarter",
        choices=[
            (unit, unit)
            for unit in ("whole", "half", "dotted half", "quarter", "dotted quarter", "eighth", "dotted eighth", "16th")
        ],
    )
    listening_point = models.CharField(max_length=200, blank=True)
    minutes = models.PositiveSmallIntegerField(null=True, blank=True, validators=[MaxValueValidator(120)])
    position = models.PositiveSmallIntegerField(default=0)
    assigned_in = models.ForeignKey(Lesson, on_delete=models.PROTECT, null=True, blank=True, related_name="assigned")
    begun = models.DateField()
    ended = models.DateField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["position", "id"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["student", "passage"], condition=Q(ended=None), name="one_open_assignment_per_passage"
            ),
            models.CheckConstraint(condition=Q(marking=None) | Q(passage__isnull=False), name="marking_needs_passage"),
        ]

    def __str__(self) -> str:
        """`The Long Slur: Opening`, `Scales, 9–16`: always with its piece, since many a passage is an opening."""
        if self.passage is not None:
            return f"{self.piece.title}: {self.passage.title}"
        return f"{self.piece.title}, {self.bars}" if self.bars else self.piece.title


class MarkingChange(AppendOnly):
    """A student moved from one marking to another, and why. Append-only."""

    token = models.UUIDField(default=uuid.uuid4, unique=True)
    assignment = models.ForeignKey(Assignment, on_delete=models.PROTECT, related_name="marking_changes")
    lesson = models.ForeignKey(Lesson, on_delete=models.PROTECT, null=True, blank=True, related_name="marking_changes")
    before = models.ForeignKey(Marking, on_delete=models.PROTECT, null=True, related_name="+")
    after = models.ForeignKey(Marking, on_delete=models.PROTECT, null=True, related_name="+")
    reason = models.CharField(max_length=300, blank=True)
    at = models.DateTimeField()

    objects = AppendOnlyQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["at", "id"]

    def __str__(self) -> str:
        return f"{self.before} → {self.after}"


class StateChange(AppendOnly):
    """Work came into another state, was done with or was taken up again: when, and why if told. Append-only.

    `marking` is the one in use at that moment, so that a performance remembers what was played.
    """

    ENDED = "ended"

    assignment = models.ForeignKey(Assignment, on_delete=models.PROTECT, related_name="state_changes")
    lesson = models.ForeignKey(Lesson, on_delete=models.PROTECT, null=True, blank=True, related_name="state_changes")
    before = models.CharField(max_length=9, choices=[*Assignment.State.choices, (ENDED, "done with")])
    after = models.CharField(max_length=9, choices=[*Assignment.State.choices, (ENDED, "done with")])
    marking = models.ForeignKey(Marking, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    reason = models.CharField(max_length=300, blank=True)
    at = models.DateTimeField()

    objects = AppendOnlyQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["at", "id"]
        constraints: ClassVar = [models.CheckConstraint(condition=~Q(before=F("after")), name="state_change_changes")]

    def __str__(self) -> str:
        return f"{self.get_before_display()} → {self.get_after_display()}"


class Step(models.Model):
    """One practice step of an assignment, in order. `recipe` says how its stave is made.

    A step that was heard in a lesson is ended, never rewritten, so that old observations
    keep the words they were made about.
    """

    assignment = models.ForeignKey(Assignment, on_delete=models.CASCADE, related_name="steps")
    position = models.PositiveSmallIntegerField(default=0)
    text = models.CharField(max_length=300)
    tempo_now = models.PositiveSmallIntegerField(null=True, blank=True)
    tempo_goal = models.PositiveSmallIntegerField(null=True, blank=True)
    minutes = models.PositiveSmallIntegerField(null=True, blank=True)
    recipe: models.JSONField[Any] = models.JSONField(null=True, blank=True)
    marking = models.ForeignKey(
        Marking, on_delete=models.PROTECT, null=True, blank=True, related_name="steps",
        help_text="the marking its stave is made from, which stays as long as the step does",
    )  # fmt: skip
    focus = models.CharField(max_length=120, blank=True, help_text="the one thing to attend to")
    days = models.CharField(max_length=7, blank=True, help_text="weekdays 0 (Monday) to 6; every day when empty")
    same_pulse = models.BooleanField(default=False, help_text="keeps its tempo with the other steps that share it")
    ladder = models.CharField(
        max_length=9, blank=True, choices=LADDERS, help_text="the tempi from now to the goal that are told with it"
    )
    picture = models.ForeignKey(
        "lessons.StepPicture", on_delete=models.PROTECT, null=True, blank=True, related_name="steps",
        help_text="a drawing, a photo or a line from paper that stands in the instruction",
    )  # fmt: skip
    done = models.BooleanField(default=False)
    ended = models.DateField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["position", "id"]

    def __str__(self) -> str:
        return self.text

    @property
    def rungs(self) -> tuple[int, ...]:
        """The tempi of its ladder; none where there is no ladder or nothing to climb."""
        return rungs(self.ladder, self.tempo_now, self.tempo_goal)


class ObservationQuerySet(AppendOnlyQuerySet):
    def standing(self) -> ObservationQuerySet:
        """Those neither replaced nor withdrawn."""
        return self.filter(withdrawn=False, replaced_by=None)


class Observation(AppendOnly):
    """What was heard. Append-only: a correction names the observation it replaces."""

    class Outcome(models.TextChoices):
        NONE = "", "noted"
        BETTER = "better", "better"
        SAME = "same", "same"
        NOT_YET = "not yet", "not yet"

    token = models.UUIDField(default=uuid.uuid4, unique=True)
    lesson = models.ForeignKey(Lesson, on_delete=models.PROTECT, related_name="observations")
    assignment = models.ForeignKey(
        Assignment, on_delete=models.PROTECT, null=True, blank=True, related_name="observations"
    )
    step = models.ForeignKey(Step, on_delete=models.PROTECT, null=True, blank=True, related_name="observations")
    outcome = models.CharField(max_length=7, choices=Outcome.choices, blank=True)
    tempo = models.PositiveSmallIntegerField("tempo reached", null=True, blank=True)
    tempo_before = models.PositiveSmallIntegerField(null=True, blank=True, help_text="what an undo goes back to")
    theme = models.CharField(max_length=10, choices=Theme.choices, blank=True)
    text = models.CharField(max_length=600, blank=True)
    shared = models.BooleanField(default=False)
    replaces = models.OneToOneField("self", on_delete=models.PROTECT, null=True, blank=True, related_name="replaced_by")
    withdrawn = models.BooleanField(default=False, help_text="an undo: replaces an observation with nothing")
    at = models.DateTimeField()

    objects = ObservationQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["at", "id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(withdrawn=False) | Q(replaces__isnull=False), name="undo_names_its_object"
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["assignment", "at"])]

    def __str__(self) -> str:
        return self.text or self.get_outcome_display()


class ListeningPoint(models.Model):
    """A place to hear next time, or a flag tapped on a note; it never touches the marking."""

    token = models.UUIDField(default=uuid.uuid4, unique=True)
    student = models.ForeignKey(Student, on_delete=models.CASCADE, related_name="listening_points")
    lesson = models.ForeignKey(Lesson, on_delete=models.PROTECT, null=True, blank=True, related_name="listening_points")
    assignment = models.ForeignKey(Assignment, on_delete=models.CASCADE, related_name="listening_points")
    address = models.CharField(max_length=24, blank=True)
    place = models.CharField(max_length=80, blank=True, help_text="the address in words: bar 12, beat 2, F♯4")
    theme = models.CharField(max_length=10, choices=Theme.choices, blank=True)
    text = models.CharField(max_length=200, blank=True)
    settled = models.DateTimeField(null=True, blank=True)
    settled_in = models.ForeignKey(
        Lesson, on_delete=models.PROTECT, null=True, blank=True, related_name="settled_points"
    )
    created = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["created", "id"]

    def __str__(self) -> str:
        return ": ".join(filter(None, (self.place, self.text or self.get_theme_display()))) or self.address


class Sheet(models.Model):
    """An issued practice sheet: the stored PDF is the sheet, and reprints return its bytes."""

    student = models.ForeignKey(Student, on_delete=models.PROTECT, related_name="sheets")
    lesson = models.ForeignKey(Lesson, on_delete=models.PROTECT, null=True, blank=True, related_name="sheets")
    number = models.PositiveIntegerField()
    issued = models.DateTimeField()
    paper = models.CharField(max_length=6)
    file_name = models.CharField(max_length=120, help_text="inside the sheets folder")
    sha256 = models.CharField(max_length=64)
    pages = models.PositiveSmallIntegerField()
    content: models.JSONField[Any] = models.JSONField(
        help_text="what the sheet said, for the history and the student's page"
    )
    markings: models.ManyToManyField[Marking, Any] = models.ManyToManyField(Marking, blank=True, related_name="sheets")

    class Meta:
        ordering: ClassVar = ["-issued", "-id"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["student", "number"], name="one_sheet_per_number"),
        ]

    def __str__(self) -> str:
        return f"Sheet {self.number} for {self.student}"

    def kept_files(self) -> list[Path]:
        """The stored PDF: it goes when the student's record is erased."""
        return [Path(settings.SHEETS_ROOT) / self.file_name]


class Phrase(models.Model):
    """A teacher's own wording, kept and offered again."""

    teacher = models.ForeignKey(Teacher, on_delete=models.CASCADE, related_name="phrases")
    text = models.CharField(max_length=300)
    theme = models.CharField(max_length=10, choices=Theme.choices, blank=True)
    used = models.PositiveIntegerField(default=0)

    class Meta:
        ordering: ClassVar = ["-used", "text"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["teacher", "text"], name="one_phrase_per_text")]

    def __str__(self) -> str:
        return self.text


from lessons.breaks import Break, Recital  # noqa: E402, F401
from lessons.home_models import HomePage, HomeQuestion, StudentLink, Tick  # noqa: E402, F401
from lessons.step_pictures import StepPicture  # noqa: E402, F401
from lessons.step_sets import StepSet  # noqa: E402, F401
