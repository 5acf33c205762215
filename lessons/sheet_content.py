"""What a practice sheet says: the week's work in order, item by item, as plain values.

The content is gathered once when a sheet is issued, stored beside the PDF and never
gathered again, so that the history can tell what the sheet of March said whatever has
changed since. Nothing private goes in: no surname, no private note, no private observation.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from lessons.models import Assignment, Lesson
from repertoire.models import Passage
from repertoire.technique.practice_time import break_after, playing_limit
from studio.models import Student
from studio.terms import terms_for

FORMAT = 1
ITEMS_AT_MOST = 8
PAGES_AT_MOST = 3
MINUTES_IF_UNSET = 5
FLAGS_AT_MOST = 3
TITLE_AT_MOST = 56  # characters that fit beside bars and tempo
HEALTH_LINE = (
    "Pain, numbness or tingling is never part of practice: stop, tell your teacher or a parent, "
    "and see a qualified medical professional."
)
DAY_NAMES = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


class SheetError(ValueError):
    """A sheet that can't be made as asked; the message says what to do."""


@dataclass(frozen=True, slots=True)
class Tempo:
    """A tempo in beats a minute with its unit, "now" and "goal" (0 when not set)."""

    unit: str
    now: int = 0
    goal: int = 0


@dataclass(frozen=True, slots=True)
class StepLine:
    """A step; `recipe` is that of its practice stave, `focus` the one thing to attend to, `days`
    the weekdays (0 is Monday) it is for, every day when empty; `ladder` the tempi to climb by,
    `picture` a StepPicture's id (0 for none)."""

    text: str
    tempo: Tempo | None = None
    minutes: int = 0
    recipe: dict[str, Any] | None = None
    focus: str = ""
    days: str = ""
    ladder: tuple[int, ...] = ()
    picture: int = 0


@dataclass(frozen=True, slots=True)
class Item:
    """One piece of work: a passage with its marking, or bars of a piece without notation."""

    assignment: int
    title: str
    bars: str
    piece: str
    edition: str
    minutes: int
    tempo: Tempo | None
    listening: str
    steps: tuple[StepLine, ...]
    passage: int = 0
    marking: int = 0
    marking_name: str = ""
    with_excerpt: bool = True
    break_after: bool = False
    under: str = ""  # what is drawn under its staves (see sheet_under.py)
    bow_signs: str = ""
    flags: tuple[str, ...] = ()  # flagged notes by place and theme, never by what was written to them

    @property
    def to_hear(self) -> str:
        """The listening point and the flagged notes in one line."""
        return "; ".join((*filter(None, [self.listening]), *self.flags))


@dataclass(frozen=True, slots=True)
class Content:
    """A whole sheet. `days` are the seven days it is for, from the one after the lesson or the issue.

    `lesson_date` is the later of the two days; `late` says that it is the issue's.
    """

    student: str
    instrument: str
    clef: str
    number: int
    lesson: int
    lesson_date: str
    issued: str
    studio: str
    paper: str
    staff_mm: float
    terms: str
    string_signs: str
    sentence: str
    days: tuple[str, ...]
    items: tuple[Item, ...] = field(default=())
    late: bool = False

    @property
    def minutes(self) -> int:
        return sum(item.minutes for item in self.items)

    def as_json(self) -> dict[str, Any]:
        return {"format": FORMAT, **asdict(self)}

    @classmethod
    def from_json(cls, raw: dict[str, Any]) -> Content:
        """Read stored content. Raises SheetError for a format this version doesn't know."""
        if raw.get("format") != FORMAT:
            raise SheetError(f"This sheet’s content is in format {raw.get('format')}, not {FORMAT}.")
        fields = {name: value for name, value in raw.items() if name != "format"}
        fields["days"] = tuple(fields["days"])
        fields["items"] = tuple(_item_from_json(item) for item in fields["items"])
        return cls(**fields)


def _item_from_json(raw: dict[str, Any]) -> Item:
    steps = tuple(
        StepLine(**{**s, "tempo": Tempo(**s["tempo"]) if s["tempo"] else None, "ladder": tuple(s.get("ladder", ()))})
        for s in raw["steps"]
    )
    tempo = Tempo(**raw["tempo"]) if raw["tempo"] else None
    return Item(**{**raw, "tempo": tempo, "steps": steps, "flags": tuple(raw.get("flags", ()))})


def sheet_assignments(student: Student) -> list[Assignment]:
    """What would stand on the next sheet, in the order of work: open and not resting."""
    return list(
        Assignment.objects.filter(student=student, ended=None)
        .exclude(state=Assignment.State.RESTING)
        .select_related("passage__movement__revision__part__piece", "piece", "marking")
        .prefetch_related("steps", "listening_points")
        .order_by("position", "id")
    )


def gather(
    student: Student,
    lesson: Lesson | None,
    *,
    number: int,
    at: datetime,
    assignments: list[Assignment] | None = None,
    without_excerpt: frozenset[int] = frozenset(),
) -> Content:
    """The content of a student's sheet at a moment.

    `without_excerpt` holds the assignments (by id) that are to be listed without their
    notation. Raises SheetError when there is nothing to print, or too much for one sheet.
    """
    studio = student.teacher.studio
    chosen = sheet_assignments(student) if assignments is None else assignments
    if not chosen:
        raise SheetError(f"{student.first_name} has nothing to practise yet: assign a passage first.")
    if len(chosen) > ITEMS_AT_MOST:
        raise SheetError(
            f"A sheet holds at most {ITEMS_AT_MOST} items and {len(chosen)} are chosen: "
            "let some rest, or leave them out."
        )
    zone = ZoneInfo(studio.timezone)
    # A sheet printed days after its lesson is for the days to come.
    day = max(moment.astimezone(zone).date() for moment in ((lesson.starts, at) if lesson else (at,)))
    instrument = student.instrument_on(day)
    minutes = [item_minutes(assignment) for assignment in chosen]
    age = day.year - student.birth_year if student.birth_year else None
    breaks = break_after(minutes, playing_limit(age))
    items = tuple(
        _item(assignment, minutes[i], i in breaks, assignment.pk not in without_excerpt)
        for i, assignment in enumerate(chosen)
    )
    return Content(
        student=student.first_name,
        instrument=str(instrument) if instrument else "",
        clef=student.clef,
        number=number,
        lesson=lesson.number if lesson else 0,
        lesson_date=day.isoformat(),
        late=lesson is not None and lesson.starts.astimezone(zone).date() < day,
        issued=at.astimezone(zone).isoformat(timespec="minutes"),
        studio=studio.name,
        paper=studio.paper,
        staff_mm=float(student.staff_height),
        terms=studio.terms,
        string_signs=studio.string_signs,
        sentence=lesson.sentence if lesson else "",
        days=_days(day),
        items=items,
    )


def item_minutes(assignment: Assignment) -> int:
    """Minutes of a piece of work: as planned, but never less than its steps take together, so that a
    sheet doesn't tell two times for one thing. Without a plan, the steps' sum."""
    given = sum(step.minutes or 0 for step in assignment.steps.all() if step.ended is None)
    return max(assignment.minutes or 0, given) or MINUTES_IF_UNSET


def _days(lesson_day: date) -> tuple[str, ...]:
    """The seven days from the one after the lesson: the week ends with the next lesson's day."""
    days = [lesson_day + timedelta(days=n) for n in range(1, 8)]
    return tuple(f"{DAY_NAMES[d.weekday()]} {d.day}" for d in days)


def _tempo(unit: str, now: int | None, goal: int | None) -> Tempo | None:
    return Tempo(unit, now or 0, goal or 0) if now or goal else None


def _item(assignment: Assignment, minutes: int, pause: bool, with_excerpt: bool) -> Item:
    passage = assignment.passage
    part = passage.movement.revision.part if passage else None
    steps = tuple(
        StepLine(
            step.text,
            _tempo(assignment.tempo_unit, step.tempo_now, step.tempo_goal),
            step.minutes or 0,
            step.recipe if with_excerpt else None,
            step.focus,
            step.days,
            step.rungs,
            step.picture_id or 0,
        )
        for step in assignment.steps.all()
        if step.ended is None
    )
    return Item(
        assignment=assignment.pk,
        title=_title(assignment),
        bars=passage.bars if passage else assignment.bars,
        piece=_under_title(assignment),
        edition=part.edition if part else "",
        minutes=minutes,
        tempo=_tempo(assignment.tempo_unit, assignment.tempo_now, assignment.tempo_goal),
        listening=assignment.listening_point,
        steps=steps,
        passage=passage.pk if passage else 0,
        marking=assignment.marking_id or 0,
        marking_name=assignment.marking.name if assignment.marking else "",
        with_excerpt=with_excerpt and passage is not None and passage.has_excerpt,
        break_after=pause,
        flags=_flags(assignment),
    )


def _flags(assignment: Assignment) -> tuple[str, ...]:
    """The notes flagged last and not settled yet, each place once: `bar 23, beat 1, E♭4: intonation`."""
    points = [p for p in assignment.listening_points.all() if p.address and p.place and p.settled is None]
    words = [": ".join(filter(None, (p.place, p.get_theme_display()))) for p in points]
    return tuple(dict.fromkeys(words))[-FLAGS_AT_MOST:]


def _title(assignment: Assignment) -> str:
    """`The Long Slur: Opening`; the passage's name alone where the piece's is long, the piece's (with its
    movement) where the passage is only called by its bars, which stand beside the title."""
    passage, piece = assignment.passage, assignment.piece.title
    if passage is None or passage.title.casefold() == piece.casefold():
        return piece
    only_bars = passage.bars in passage.title
    name = _movement_name(passage) if only_bars else passage.title
    whole = f"{piece}: {name}" if name else piece
    return whole if len(whole) <= TITLE_AT_MOST else piece if only_bars else name


def _movement_name(passage: Passage) -> str:
    """The title of a passage's movement; "" where the piece has one movement."""
    movement = passage.movement
    several = movement.number > 1 or movement.revision.movements.count() > 1
    return movement.title if several else ""


def _under_title(assignment: Assignment) -> str:
    """Composer, and whatever of piece and movement the title doesn't say."""
    piece, passage = assignment.piece, assignment.passage
    words = [piece.composer]
    if passage is not None:
        title = _title(assignment)
        words += [word for word in (piece.title, _movement_name(passage)) if word not in title]
    return ", ".join(dict.fromkeys(word for word in words if word))


def bars_label(bars: str, terms: str) -> str:
    """`bars 1–8`, `measure 12`: printed numbers with the studio's word before them."""
    if not bars:
        return ""
    words = terms_for(terms)
    return f"{words['bars'] if '–' in bars or ',' in bars or '-' in bars else words['bar']} {bars}"
