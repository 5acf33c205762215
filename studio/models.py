"""People and the studio: teachers, students, guardians, instruments."""

from __future__ import annotations

from datetime import date
from typing import Any, ClassVar
from zoneinfo import available_timezones

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q


def check_timezone(name: str) -> None:
    if name not in available_timezones():
        raise ValidationError(f"“{name}” is not a time zone; write it like Europe/London.")


class Studio(models.Model):
    class Paper(models.TextChoices):
        A4 = "A4", "A4"
        LETTER = "Letter", "Letter"

    class Terms(models.TextChoices):
        BRITISH = "british", "British: bar, crotchet, heel, point"
        AMERICAN = "american", "American: measure, quarter note, frog, tip"

    class StringSigns(models.TextChoices):
        ROMAN = "roman", "I to IV"
        SUL = "sul", "sul G, sul D"

    name = models.CharField(max_length=120)
    timezone = models.CharField("time zone", max_length=64, default="Europe/London", validators=[check_timezone])
    paper = models.CharField(max_length=6, choices=Paper.choices, default=Paper.A4)
    terms = models.CharField("words", max_length=8, choices=Terms.choices, default=Terms.BRITISH)
    a4_hz = models.PositiveSmallIntegerField(
        "A4 in Hz", default=440, validators=[MinValueValidator(390), MaxValueValidator(470)]
    )
    week_start = models.PositiveSmallIntegerField(
        "week starts on", default=0, choices=[(0, "Monday"), (5, "Saturday"), (6, "Sunday")]
    )
    string_signs = models.CharField(
        "strings shown as", max_length=5, choices=StringSigns.choices, default=StringSigns.ROMAN
    )

    def __str__(self) -> str:
        return self.name


class TeacherManager(BaseUserManager["Teacher"]):
    def create_user(self, email: str, password: str | None = None, **fields: Any) -> Teacher:
        teacher = self.model(email=self.normalize_email(email).lower(), **fields)
        teacher.set_password(password)
        teacher.save(using=self._db)
        return teacher

    def get_by_natural_key(self, username: str | None) -> Teacher:
        return self.get(email__iexact=username or "")


class Teacher(AbstractBaseUser):
    """A teacher signs in with an e-mail address and owns students, pieces and markings."""

    studio = models.ForeignKey(Studio, on_delete=models.PROTECT, related_name="teachers")
    email = models.EmailField("e-mail", unique=True)
    name = models.CharField(max_length=120)
    is_active = models.BooleanField(default=True)
    created = models.DateTimeField(auto_now_add=True)

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name"]
    objects = TeacherManager()

    def __str__(self) -> str:
        return self.name


class Student(models.Model):
    class Status(models.TextChoices):
        ACTIVE = "active", "active"
        PAUSED = "paused", "paused"
        LEFT = "left", "left"

    class ClefPreference(models.TextChoices):
        AS_PRINTED = "", "as printed"
        ALTO = "alto", "alto clef where possible"
        TREBLE = "treble", "treble clef where possible"

    teacher = models.ForeignKey(Teacher, on_delete=models.PROTECT, related_name="students")
    first_name = models.CharField(max_length=60)
    surname = models.CharField(max_length=80, blank=True)
    birth_year = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=[MinValueValidator(1900), MaxValueValidator(2100)]
    )
    private_notes = models.TextField(blank=True)
    status = models.CharField(max_length=6, choices=Status.choices, default=Status.ACTIVE)
    clef = models.CharField(
        "clef preference", max_length=6, choices=ClefPreference.choices, blank=True, default=ClefPreference.AS_PRINTED
    )
    staff_height = models.DecimalField(
        "staff height in print (mm)",
        max_digits=4,
        decimal_places=1,
        default=8,
        validators=[MinValueValidator(6), MaxValueValidator(14)],
    )
    created = models.DateTimeField(auto_now_add=True)
    guardians: models.ManyToManyField[Guardian, Guardianship] = models.ManyToManyField(
        "Guardian", through="Guardianship", related_name="students"
    )

    class Meta:
        ordering: ClassVar = ["first_name", "id"]

    def __str__(self) -> str:
        return self.first_name

    @property
    def full_name(self) -> str:
        """With the surname where it is known: what lists to choose from show."""
        return f"{self.first_name} {self.surname}".strip()

    def instrument_on(self, day: date) -> InstrumentPeriod | None:
        """The instrument played on a day; the one begun last when there are two kinds."""
        return next(iter(self.instruments_on(day)), None)

    def instruments_on(self, day: date) -> list[InstrumentPeriod]:
        """All instruments played on a day, the one begun last first: some play violin and viola."""
        periods = [p for p in self.instruments.all() if p.since <= day and (p.until is None or day <= p.until)]
        return sorted(periods, key=lambda p: (p.since, p.pk), reverse=True)


class Erasure(models.Model):
    """Left behind when a student's record is erased on request: when, and how much, but not whose."""

    teacher = models.ForeignKey(Teacher, on_delete=models.PROTECT, related_name="erasures")
    at = models.DateTimeField()
    rows = models.PositiveIntegerField("rows erased")

    class Meta:
        ordering: ClassVar = ["at", "id"]

    def __str__(self) -> str:
        return f"A record erased on {self.at:%d %b %Y}"


class Guardian(models.Model):
    teacher = models.ForeignKey(Teacher, on_delete=models.PROTECT, related_name="guardians")
    name = models.CharField(max_length=120)
    email = models.EmailField("e-mail", blank=True)
    phone = models.CharField(max_length=40, blank=True)

    class Meta:
        ordering: ClassVar = ["name", "id"]

    def __str__(self) -> str:
        return self.name


class Guardianship(models.Model):
    student = models.ForeignKey(Student, on_delete=models.CASCADE, related_name="guardianships")
    guardian = models.ForeignKey(Guardian, on_delete=models.CASCADE, related_name="guardianships")
    relation = models.CharField(max_length=40, blank=True)
    receives_notes = models.BooleanField("receives lesson notes", default=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["student", "guardian"], name="one_guardianship_per_pair"),
        ]

    def __str__(self) -> str:
        return f"{self.guardian} ({self.relation or 'guardian'})"


class InstrumentPeriod(models.Model):
    """Which instrument, of which size, a student played from one day to another."""

    class Kind(models.TextChoices):
        VIOLIN = "violin", "violin"
        VIOLA = "viola", "viola"

    student = models.ForeignKey(Student, on_delete=models.CASCADE, related_name="instruments")
    instrument = models.CharField(max_length=6, choices=Kind.choices)
    size = models.CharField(max_length=30, blank=True, help_text="as you say it: 3/4, full, 15½ inch")
    string_length = models.PositiveSmallIntegerField(
        "vibrating string length (mm)",
        null=True,
        blank=True,
        validators=[MinValueValidator(150), MaxValueValidator(420)],
        help_text="nut to bridge, measured: sizes on labels differ from maker to maker",
    )
    since = models.DateField("from")
    until = models.DateField("to", null=True, blank=True)
    follows: InstrumentPeriod | None = None  # the period that is ended together with saving this one

    class Meta:
        ordering: ClassVar = ["-since", "-id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(until=None) | Q(until__gte=F("since")), name="instrument_ends_after_start"
            ),
            models.UniqueConstraint(fields=["student", "instrument", "since"], name="one_instrument_start_a_day"),
        ]

    def __str__(self) -> str:
        return f"{self.size} {self.instrument}".strip()

    def clean(self) -> None:
        """No two periods of one kind of instrument overlap; the database holds to it too (migration 0002)."""
        if self.since is None or self.student_id is None:
            return
        others = InstrumentPeriod.objects.filter(student_id=self.student_id, instrument=self.instrument)
        if self.follows:
            others = others.exclude(pk=self.follows.pk)
        clash = others.exclude(pk=self.pk).filter(Q(until=None) | Q(until__gte=self.since))
        if self.until:
            clash = clash.filter(since__lte=self.until)
        if found := clash.first():
            raise ValidationError(
                f"This overlaps the {found} from {found.since:%d %b %Y}: end that one first, or change the dates."
            )


from studio.colleague_models import Handover as Handover  # noqa: E402
from studio.colleague_models import Invitation as Invitation  # noqa: E402
from studio.hand_models import StudentHand as StudentHand  # noqa: E402
