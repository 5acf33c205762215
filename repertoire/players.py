"""Whose hand a fingering is read for: a full-size instrument, or a student's own with its limits.

The teacher chooses once for a piece; the choice stays for its pages until she changes it.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.http import HttpRequest
from django.utils import timezone

from repertoire.models import Passage
from repertoire.technique.fingering_costs import NO_LIMITS, Limits
from repertoire.technique.sizes import estimated_length
from repertoire.technique.strings import STRING_LENGTH
from studio.access import teacher_of
from studio.models import Student, StudentHand

KEPT_AS = "hand_for"
PIECES_KEPT = 30


@dataclass(frozen=True)
class Player:
    """A hand to finger for. `length` is the vibrating string length in mm: `measured` the
    student's own, else estimated from a `size` that is kept, else a full-size instrument's.
    `plays` is false for a student who plays another instrument."""

    instrument: str
    length: float
    limits: Limits = NO_LIMITS
    student: Student | None = None
    measured: bool = False
    limit_words: str = ""
    size: str = ""
    plays: bool = True

    @property
    def words(self) -> str:
        """`Rufus, string 318 mm; up to 3rd position`, or `full-size viola, string 370 mm`."""
        whose = self.student.first_name if self.student else f"full-size {self.instrument}"
        length = f"string {self.length:.0f} mm"
        if self.student and not self.plays:
            length = f"who plays no {self.instrument}: measured on a full-size one, string {self.length:.0f} mm"
        elif self.size:
            length = f"string about {self.length:.0f} mm, estimated from the size {self.size}"
        elif self.student and not self.measured:
            length += " (not measured)"
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
    today = student.instruments_on(timezone.localdate())
    now = next((p for p in today if p.instrument == instrument), None)
    measured = float(now.string_length) if now and now.string_length else 0.0
    estimated = estimated_length(instrument, now.size) if now and not measured else None
    small = estimated is not None and estimated != STRING_LENGTH[instrument]
    return Player(
        instrument,
        measured or estimated or STRING_LENGTH[instrument],
        limits_of(hand),
        student,
        bool(measured),
        hand.words if hand else "",
        now.size if now and small else "",
        now is not None or not today,
    )


def chosen_player(request: HttpRequest, passage: Passage, instrument: str) -> Player:
    """The hand asked for (?hand_for=), or the one chosen before for this piece; a full-size
    instrument when there is none, and for students of other teachers."""
    kept = request.session.get(KEPT_AS)
    by_piece: dict[str, str] = kept if isinstance(kept, dict) else {}
    piece = str(passage.movement.revision.part.piece_id)
    asked = request.GET.get(KEPT_AS)
    if asked is not None and asked != by_piece.get(piece, ""):
        wanted = asked if asked.isdecimal() and len(asked) < 19 else ""
        others = [(p, s) for p, s in by_piece.items() if p != piece][-PIECES_KEPT:]
        by_piece = {**dict(others), **({piece: wanted} if wanted else {})}
        request.session[KEPT_AS] = by_piece
    wanted = by_piece.get(piece, "")
    if not wanted:
        return full_size(instrument)
    student = Student.objects.filter(teacher=teacher_of(request), pk=int(wanted)).first()
    return player_of(student, instrument) if student else full_size(instrument)


def players_to_choose(request: HttpRequest, player: Player) -> list[Student]:
    """Active students for the list of hands: those who play the instrument, those whose
    instrument isn't entered yet, and the one who is chosen."""
    active = Student.objects.filter(teacher=teacher_of(request), status=Student.Status.ACTIVE)
    today = timezone.localdate()
    out = []
    for student in active.prefetch_related("instruments"):
        played = [p.instrument for p in student.instruments_on(today)]
        if not played or player.instrument in played or student == player.student:
            out.append(student)
    return out
