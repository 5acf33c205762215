"""The page for a family: attended, begun and finished, shared observations, how to help.

Private things are structurally unable to appear: this module asks the database for named
columns of shared rows only and passes plain values on. It holds no model instance, and
children are never compared.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from lessons.models import Assignment, Lesson, Observation, StateChange
from studio.models import Student
from studio.terms import terms_for

ADULT_AFTER = 18  # years that have passed by the calendar: the birthday may be still to come
_PRESENT = (Lesson.Attendance.ATTENDED, Lesson.Attendance.LATE)


@dataclass(frozen=True, slots=True)
class Heard:
    day: date
    work: str
    step: str
    outcome: str
    theme: str
    text: str
    tempo: int | None


@dataclass(frozen=True, slots=True)
class Note:
    day: date
    text: str


@dataclass(frozen=True, slots=True)
class Work:
    """One piece of work as it stood on the report's last day; `turned` is when it came into its state."""

    title: str
    piece: str
    state: str
    turned: date | None
    begun: date
    ended: date | None
    tempo_first: int | None  # of the shared observations between the days, beats a minute
    tempo_last: int | None
    tempo_goal: int | None
    tempo_unit: str


@dataclass(frozen=True, slots=True)
class Report:
    """`adult` is known from the year of birth: such a report speaks to the student, not to a family."""

    first_name: str
    adult: bool
    since: date
    until: date
    attended: int
    excused: int
    missed: int
    cancelled: int
    begun: tuple[Work, ...]
    finished: tuple[Work, ...]
    current: tuple[Work, ...]
    heard: tuple[Heard, ...]
    notes: tuple[Note, ...]
    sentence: str


def make_report(student: Student, since: date, until: date) -> Report:
    """What a family may read about the lessons from one day to another, both included."""
    studio = student.teacher.studio
    zone, words = ZoneInfo(studio.timezone), terms_for(studio.terms)
    start = datetime.combine(since, time.min, zone)
    end = datetime.combine(until, time.max, zone)
    lessons = list(
        Lesson.objects.filter(student=student, starts__range=(start, end))
        .order_by("starts")
        .values("starts", "attendance", "note", "sentence")
    )
    tempi, turns = _tempi(student, start, end), _turns(student)
    stood = tuple(
        _work(row, tempi.get(row["id"], ()), turns.get(row["id"], ()), end, zone, words)
        for row in Assignment.objects.filter(student=student, begun__lte=until)
        .order_by("position", "id")
        .values(
            *("id", "passage__title", "piece__title", "piece__composer", "bars", "state", "begun", "ended"),
            *("tempo_goal", "tempo_unit"),
        )
    )
    work = tuple(w for w in stood if w.ended is None or w.ended >= since)
    heard = tuple(
        Heard(
            row["lesson__starts"].astimezone(zone).date(),
            ": ".join(filter(None, (row["assignment__piece__title"], row["assignment__passage__title"]))),
            row["step__text"] or "",
            row["outcome"],
            row["theme"],
            row["text"],
            row["tempo"],
        )
        for row in Observation.objects.standing()
        .filter(lesson__student=student, lesson__starts__range=(start, end), shared=True)
        .order_by("-lesson__starts", "at", "id")
        .values(
            *("lesson__starts", "assignment__passage__title", "assignment__piece__title"),
            *("step__text", "outcome", "theme", "text", "tempo"),
        )
    )
    counts = [lesson["attendance"] for lesson in lessons]
    sentences = [lesson["sentence"] for lesson in lessons if lesson["sentence"]]
    done = (Assignment.State.PERFORMED, Assignment.State.SECURE)
    return Report(
        first_name=student.first_name,
        adult=student.birth_year is not None and until.year - student.birth_year > ADULT_AFTER,
        since=since,
        until=until,
        attended=sum(a in _PRESENT for a in counts),
        excused=counts.count(Lesson.Attendance.EXCUSED),
        missed=counts.count(Lesson.Attendance.MISSED),
        cancelled=counts.count(Lesson.Attendance.CANCELLED),
        begun=tuple(w for w in work if w.begun >= since),
        finished=tuple(w for w in work if w.ended is not None or w.state in done),
        current=tuple(w for w in work if w.ended is None and w.state not in done),
        heard=heard,
        notes=tuple(Note(r["starts"].astimezone(zone).date(), r["note"]) for r in reversed(lessons) if r["note"]),
        sentence=sentences[-1] if sentences else "",
    )


def _tempi(student: Student, start: datetime, end: datetime) -> dict[int, list[int]]:
    """The tempi of each assignment as a whole, in order, told by shared observations alone."""
    found: dict[int, list[int]] = {}
    rows = Observation.objects.standing().filter(
        lesson__student=student, lesson__starts__range=(start, end), shared=True, tempo__isnull=False, step=None
    )
    for assignment, tempo in rows.order_by("lesson__starts", "at", "id").values_list("assignment", "tempo"):
        if assignment is not None:
            found.setdefault(assignment, []).append(tempo)
    return found


def _turns(student: Student) -> dict[int, list[tuple[datetime, str, str]]]:
    """The changes of state of each assignment in order: when, before, after. Reasons are the teacher's own."""
    found: dict[int, list[tuple[datetime, str, str]]] = {}
    rows = StateChange.objects.filter(assignment__student=student).order_by("at", "id")
    for assignment, *turn in rows.values_list("assignment", "at", "before", "after"):
        found.setdefault(assignment, []).append(tuple(turn))
    return found


def _work(
    row: Mapping[str, object],
    tempi: Sequence[int],
    turns: Sequence[tuple[datetime, str, str]],
    end: datetime,
    zone: ZoneInfo,
    words: Mapping[str, str],
) -> Work:
    piece = ", ".join(str(row[name]) for name in ("piece__composer", "piece__title") if row[name])
    state, turned, ended = _stood(str(row["state"]), turns, end)
    return Work(
        title=str(row["passage__title"] or row["piece__title"]),
        piece=piece if row["passage__title"] else f"{words['bars']} {row['bars']}" if row["bars"] else "",
        state=state,
        turned=turned.astimezone(zone).date() if turned else None,
        begun=row["begun"],  # type: ignore[arg-type]
        ended=ended.astimezone(zone).date() if ended else None,
        tempo_first=tempi[0] if tempi else None,
        tempo_last=tempi[-1] if tempi else None,
        tempo_goal=row["tempo_goal"],  # type: ignore[arg-type]
        tempo_unit=str(row["tempo_unit"]),
    )


def _stood(
    now: str, turns: Sequence[tuple[datetime, str, str]], end: datetime
) -> tuple[str, datetime | None, datetime | None]:
    """State, since when, and when it ended (None while it went on), as they were at a moment.

    Work that was ended keeps the state it had: performed, then done with, is performed.
    """
    later = [before for at, before, _ in turns if at > end and before != StateChange.ENDED]
    state, since, ended = later[0] if later else now, None, None
    for at, before, after in turns:
        if at > end:
            break
        if after == StateChange.ENDED:
            ended, state = at, before
            continue
        ended = None
        if before != StateChange.ENDED or after != state:
            state, since = after, at
    return state, since, ended
