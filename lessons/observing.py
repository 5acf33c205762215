"""What is heard and noted in a lesson: observations, flags, the lesson note, undo.

Observations are only added: a correction replaces one, an undo replaces one with nothing.
Whatever carries a token is stored once, however often a lost connection sends it. Every
function takes its time from the caller, since what waited in a browser is noted late.
"""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import Any, TypeVar

from django.db import IntegrityError, models, transaction
from django.db.models import F

from lessons.assigning import change_marking
from lessons.models import Assignment, Lesson, ListeningPoint, MarkingChange, Observation, Phrase, Step
from lessons.tempo import FASTEST, SLOWEST, START, unit_of
from repertoire.excerpts import passage_line
from repertoire.technique.line import LineError
from studio.models import Teacher
from studio.terms import terms_for

PHRASE_LENGTH = 60
UNDONE = "undone in the lesson"
Row = TypeVar("Row", bound=models.Model)


class ObserveError(ValueError):
    """Something that can't be noted; the message says why."""


class NoteConflict(Exception):
    """The lesson note was saved from another page since this one read it."""

    def __init__(self, lesson: Lesson) -> None:
        super().__init__("This note was saved from another page in the meantime.")
        self.lesson = lesson


def observe(
    lesson: Lesson,
    assignment: Assignment | None = None,
    *,
    at: datetime,
    step: Step | None = None,
    outcome: str = "",
    tempo: int | None = None,
    theme: str = "",
    text: str = "",
    shared: bool = False,
    token: uuid.UUID | None = None,
    replaces: Observation | None = None,
) -> Observation:
    """Note what was heard. A tempo also becomes the assignment's (or the step's) tempo now, unless a
    later one has arrived before it.

    Raises ObserveError when there is nothing to note, or it belongs to another student.
    """
    text = " ".join(text.split())
    with transaction.atomic():
        if known := _known(Observation, token):
            if known.lesson_id != lesson.pk:
                raise ObserveError("This was already noted in another lesson.")
            return known
        _check(lesson, assignment, step)
        if not (outcome or tempo or theme or text):
            raise ObserveError("There is nothing to note yet: choose better, same or not yet, or write a word.")
        if tempo is not None and not SLOWEST <= tempo <= FASTEST:
            raise ObserveError(f"A tempo lies between {SLOWEST} and {FASTEST} beats a minute, not {tempo}.")
        if len(text) > 600:
            raise ObserveError("An observation has at most 600 characters; the lesson note has room for more.")
        carrier = _carrier(step, assignment) if tempo is not None else None
        seen, new = _noted(
            Observation,
            token,
            lesson=lesson,
            assignment=assignment,
            step=step,
            outcome=outcome,
            tempo=tempo,
            tempo_before=carrier.tempo_now if carrier else None,
            theme=theme,
            text=text,
            shared=shared,
            replaces=replaces,
            at=at,
        )
        if not new:
            return seen
        if carrier is not None and not any(_moment(other) > _moment(seen) for other in _tempi_heard(seen)):
            carrier.tempo_now = tempo
            carrier.save(update_fields=["tempo_now"])
        if text and replaces is None:
            remember_phrase(lesson.teacher, text, theme)
    return seen


def start_tempo(assignment: Assignment) -> int:
    """Where a tempo begins that nobody has set (beats a minute): the goal, else what is printed in
    the passage in the same beat unit, else START."""
    if assignment.tempo_goal:
        return assignment.tempo_goal
    if assignment.passage is not None and assignment.passage.has_notation:
        for mark in (mark for bar in passage_line(assignment.passage).bars for mark in bar.tempos):
            if mark.unit and mark.per_minute and unit_of(mark.unit.quarters) == assignment.tempo_unit:
                return min(max(round(mark.per_minute), SLOWEST), FASTEST)
    return START


def set_start_tempo(assignment: Assignment, tempo: int) -> None:
    """Set where the tempo begins: nothing was heard, so nothing is noted. A tempo that stands already stays."""
    if not SLOWEST <= tempo <= FASTEST:
        raise ObserveError(f"A tempo lies between {SLOWEST} and {FASTEST} beats a minute, not {tempo}.")
    Assignment.objects.filter(pk=assignment.pk, tempo_now=None).update(tempo_now=tempo)


def correct(
    observation: Observation,
    *,
    at: datetime,
    outcome: str = "",
    tempo: int | None = None,
    theme: str = "",
    text: str = "",
    shared: bool = False,
    token: uuid.UUID | None = None,
) -> Observation:
    """Put another observation in the place of one: its tempo goes back or gives way to the new one.
    Raises ObserveError if it was already replaced."""
    with transaction.atomic():
        Observation.objects.select_for_update(of=("self",)).get(pk=observation.pk)
        if known := _known(Observation, token):
            return known
        _check_standing(observation)
        _give_back_tempo(observation)
        return observe(
            observation.lesson,
            observation.assignment,
            step=observation.step,
            outcome=outcome,
            tempo=tempo,
            theme=theme,
            text=text,
            shared=shared,
            token=token,
            replaces=observation,
            at=at,
        )


def withdraw(observation: Observation, *, at: datetime, token: uuid.UUID | None = None) -> Observation:
    """Take an observation back: it stays in the record, replaced with nothing.

    A tempo it brought goes back to what was there before, unless it has moved on since.
    """
    with transaction.atomic():
        Observation.objects.select_for_update(of=("self",)).get(pk=observation.pk)
        if known := _known(Observation, token):
            return known
        _check_standing(observation)
        gone, new = _noted(
            Observation,
            token,
            lesson=observation.lesson,
            assignment=observation.assignment,
            step=observation.step,
            replaces=observation,
            withdrawn=True,
            at=at,
        )
        if new:
            _give_back_tempo(observation)
    return gone


def _carrier(step: Step | None, assignment: Assignment | None) -> Step | Assignment | None:
    """What a tempo belongs to, its row locked and its tempo read afresh."""
    if step is not None:
        step.refresh_from_db(fields=["tempo_now"], from_queryset=Step.objects.select_for_update(of=("self",)))
    elif assignment is not None:
        rows = Assignment.objects.select_for_update(of=("self",))
        assignment.refresh_from_db(fields=["tempo_now"], from_queryset=rows)
    return step or assignment


def _tempi_heard(seen: Observation) -> list[Observation]:
    """The other tempi that stand for the same step, or the same work."""
    return list(
        Observation.objects.standing()
        .filter(assignment=seen.assignment_id, step=seen.step_id, tempo__isnull=False)
        .exclude(pk__in=(seen.pk, seen.replaces_id or 0))
        .select_related("replaces")
    )


def _moment(seen: Observation) -> datetime:
    """When it was heard: a correction stands for what it replaces."""
    while seen.replaces is not None:
        seen = seen.replaces
    return seen.at


def _give_back_tempo(observation: Observation) -> None:
    """The tempo before it stands again, or one heard before it that arrived after it; nothing changes where
    the tempo has moved on since."""
    carrier = _carrier(observation.step, observation.assignment) if observation.tempo is not None else None
    if carrier is None or carrier.tempo_now != observation.tempo:
        return
    moment, others = _moment(observation), _tempi_heard(observation)
    if any(_moment(other) > moment for other in others):
        return
    late = [other for other in others if other.pk > observation.pk]
    carrier.tempo_now = max(late, key=_moment).tempo if late else observation.tempo_before
    carrier.save(update_fields=["tempo_now"])


def flag(
    lesson: Lesson,
    assignment: Assignment,
    *,
    at: datetime,
    address: str = "",
    theme: str = "",
    text: str = "",
    token: uuid.UUID | None = None,
) -> ListeningPoint:
    """Mark a note (or the whole assignment) to be heard next time. The marking is not touched."""
    with transaction.atomic():
        if known := _known(ListeningPoint, token):
            return known
        _check(lesson, assignment, None)
        place = _place(assignment, address) if address else ""
        if not (address or theme or text.strip()):
            raise ObserveError("Choose a note, a theme or a word to listen for.")
        point, _ = _noted(
            ListeningPoint,
            token,
            student_id=lesson.student_id,
            lesson=lesson,
            assignment=assignment,
            address=address,
            place=place,
            theme=theme,
            text=" ".join(text.split())[:200],
            created=at,
        )
    return point


def settle(point: ListeningPoint, *, at: datetime, lesson: Lesson | None = None) -> None:
    """Heard, and no longer to be listened for."""
    if point.settled is None:
        point.settled, point.settled_in = at, lesson
        point.save(update_fields=["settled", "settled_in"])


def reopen(point: ListeningPoint) -> None:
    """To be listened for after all."""
    point.settled = point.settled_in = None
    point.save(update_fields=["settled", "settled_in"])


def save_note(
    lesson: Lesson,
    *,
    note: str,
    private_note: str,
    at: datetime,
    writer: uuid.UUID | None = None,
    base: int | None = None,
) -> Lesson:
    """Save the lesson note.

    `writer` is the open page it comes from and `base` the version that page read. Raises
    NoteConflict when another page has saved other words since; without `base` it overwrites.
    """
    with transaction.atomic():
        lesson = Lesson.objects.select_for_update().get(pk=lesson.pk)
        if (lesson.note, lesson.private_note) == (note, private_note):
            return lesson
        foreign = writer is None or lesson.note_writer != writer
        if base is not None and base != lesson.note_version and foreign:
            raise NoteConflict(lesson)
        lesson.note, lesson.private_note = note, private_note
        lesson.note_saved, lesson.note_writer = at, writer
        lesson.note_version += 1
        lesson.save(update_fields=["note", "private_note", "note_saved", "note_writer", "note_version"])
    return lesson


def last_action(lesson: Lesson) -> Observation | ListeningPoint | MarkingChange | None:
    """The latest thing noted in a lesson that can be taken back."""
    found: list[tuple[datetime, Observation | ListeningPoint | MarkingChange]] = []
    seen = Observation.objects.standing().filter(lesson=lesson).order_by("-at", "-id").first()
    if seen is not None:
        found.append((seen.at, seen))
    point = ListeningPoint.objects.filter(lesson=lesson, settled=None).order_by("-created", "-id").first()
    if point is not None:
        found.append((point.created, point))
    heard = ListeningPoint.objects.filter(settled_in=lesson).order_by("-settled", "-id").first()
    if heard is not None and heard.settled is not None:
        found.append((heard.settled, heard))
    change = lesson.marking_changes.select_related("assignment", "before", "after").order_by("-at", "-id").first()
    if change is not None and change.reason != UNDONE and change.assignment.marking_id == change.after_id:
        found.append((change.at, change))
    return max(found, key=lambda pair: pair[0])[1] if found else None


def take_back(
    thing: Observation | ListeningPoint | MarkingChange, *, at: datetime, token: uuid.UUID | None = None
) -> None:
    """Undo one action: withdraw an observation, remove a flag, or listen for a settled one again,
    go back to the marking before."""
    if isinstance(thing, Observation):
        withdraw(thing, at=at, token=token)
    elif isinstance(thing, ListeningPoint) and thing.settled is not None:
        reopen(thing)
    elif isinstance(thing, ListeningPoint):
        thing.delete()
    elif thing.before is not None and thing.assignment.marking_id == thing.after_id:
        change_marking(thing.assignment, thing.before, reason=UNDONE, lesson=thing.lesson, at=at, token=token)


def find_action(lesson: Lesson, token: uuid.UUID) -> Observation | ListeningPoint | MarkingChange | None:
    """What a token made in this lesson, whatever kind it is."""
    return (
        Observation.objects.filter(lesson=lesson, token=token).first()
        or ListeningPoint.objects.filter(lesson=lesson, token=token).first()
        or MarkingChange.objects.filter(lesson=lesson, token=token).first()
    )


def remember_phrase(teacher: Teacher, text: str, theme: str = "") -> None:
    """Count a short wording, so that the ones used often are offered again."""
    if len(text) > PHRASE_LENGTH:
        return
    phrase, _ = Phrase.objects.get_or_create(teacher=teacher, text=text, defaults={"theme": theme})
    Phrase.objects.filter(pk=phrase.pk).update(used=F("used") + 1)


def _known(model: type[Row], token: uuid.UUID | None) -> Row | None:
    return None if token is None else model._default_manager.filter(token=token).first()


def _noted(model: type[Row], token: uuid.UUID | None, **values: Any) -> tuple[Row, bool]:
    """A new row, and True; or the row that carries the token, when it arrived twice in the same moment."""
    try:
        with transaction.atomic():
            return model._default_manager.create(token=token or uuid.uuid4(), **values), True
    except IntegrityError:
        if known := _known(model, token):
            return known, False
        raise


def _check(lesson: Lesson, assignment: Assignment | None, step: Step | None) -> None:
    if assignment is not None and assignment.student_id != lesson.student_id:
        raise ObserveError("That assignment is another student’s.")
    if step is not None and (assignment is None or step.assignment_id != assignment.pk):
        raise ObserveError("That step belongs to another assignment.")


def _place(assignment: Assignment, address: str) -> str:
    """A note in words: "bar 12, beat 2, F♯4". Raises ObserveError when the passage has no such note."""
    if assignment.passage is None or not assignment.passage.has_notation:
        raise ObserveError("This work has no notation to flag a note in.")
    try:
        line = passage_line(assignment.passage)
        event = line.event(address)
        sounding = "rest" if event.is_rest else line.pitch(address).label
    except LineError as error:
        raise ObserveError(str(error)) from None
    where = line.where(address).partition(" ")[2]
    return f"{terms_for(assignment.student.teacher.studio.terms)['bar']} {where}, {sounding}"


def _check_standing(observation: Observation) -> None:
    if observation.withdrawn or Observation.objects.filter(replaces=observation).exists():
        raise ObserveError("This observation was already corrected or taken back.")
