"""Whose hand a fingering is read for: a full-size instrument, or a student's own with its limits.

The teacher chooses once; the choice stays for her next pages until she changes it.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.http import HttpRequest
from django.utils import timezone

from repertoire.technique.fingering_costs import NO_LIMITS, Limits
from repertoire.technique.strings import STRING_LENGTH
from studio.access import teacher_of
from studio.models import Student, StudentHand

KEPT_AS = "hand_for"


@dataclass(frozen=True)
class Player:
    """A hand to finger for. `length` is the vibrating string length in mm; `measured` says
    whether it is the student's own or a full-size instrument's."""

    instrument: str
    length: float
    limits: Limits = NO_LIMITS
    student: Student | None = None
    measured: bool = False
    limit_words: str = ""

    @property
    def words(self) -> str:
        """`Rufus, string 318 mm; up to 3rd position`, or `full-size viola, string 370 mm`."""
        whose = self.student.first_name if self.student else f"full-size {self.instrument}"
        length = f"string {self.length:.0f} mm" + ("" if self.measured or not self.student else " (not measured)")
        return "; ".join(filter(None, (f"{whose}, {length}", self.limit_words)))


def limits_of(hand: StudentHand | None) -> Limits:
    """What is kept about a student's hand, as the engine takes it."""
    if hand is None:
        return NO_LIMITS
    wishes = {"wanted": "wanted", "avoided": "avoided"}
    return Limits(
        highest=hand.highest,
        positions=frozenset(hand.positions) if hand.positions else None,
        extensions=hand.extensions,
        small_hand=hand.small_hand,
        open_strings=wishes.get(hand.open_strings, ""),  # type: ignore[arg-type]
        avoid_fourth=hand.avoid_fourth,
    )


def full_size(instrument: str) -> Player:
    return Player(instrument, STRING_LENGTH[instrument])


def player_of(student: Student, instrument: str) -> Player:
    """A student's hand on an instrument as it is today."""
    hand = StudentHand.objects.filter(student=student).first()
    now = [p for p in student.instruments_on(timezone.localdate()) if p.instrument == instrument]
    length = float(now[0].string_length) if now and now[0].string_length else 0.0
    return Player(
        instrument,
        length or STRING_LENGTH[instrument],
        limits_of(hand),
        student,
        bool(length),
        hand.words if hand else "",
    )


def chosen_player(request: HttpRequest, instrument: str) -> Player:
    """The hand asked for (?hand_for=), or the one chosen before; a full-size instrument when
    there is none, and for students of other teachers."""
    asked = request.GET.get(KEPT_AS)
    if asked is not None and asked != request.session.get(KEPT_AS, ""):
        request.session[KEPT_AS] = asked if asked.isdecimal() and len(asked) < 19 else ""
    wanted = request.session.get(KEPT_AS, "")
    if not wanted:
        return full_size(instrument)
    student = Student.objects.filter(teacher=teacher_of(request), pk=int(wanted)).first()
    return player_of(student, instrument) if student else full_size(instrument)


def players_to_choose(request: HttpRequest) -> list[Student]:
    """Active students, for the list of hands."""
    return list(Student.objects.filter(teacher=teacher_of(request), status=Student.Status.ACTIVE))
