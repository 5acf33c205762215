"""Violin passages for the viola and back: a part moved to the other instrument, and marks carried.

The moved part holds the same bars under the same addresses, so a marking of one side can be
carried to the other at any time. A fifth away the same fingers fall on the neighbouring
strings and everything goes over; at the original pitch or the octave the bow and the words
go over and the left hand is completed afresh.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.db import transaction
from django.db.models import Q

from repertoire.bounds import Bounds
from repertoire.excerpts import movement_notes, passage_line
from repertoire.fingerings import completion
from repertoire.importing import make_passage
from repertoire.left_hand import instrument_with_strings, preset_for
from repertoire.markings import make_marking, marks_of, printed_marking
from repertoire.models import CarriedMarking, Marking, MovedPart, MovedPassage, Movement, Part, Passage, Revision
from repertoire.notation.storing import line_to_json
from repertoire.players import full_size
from repertoire.queries import passages_open_to
from repertoire.technique.fingering_costs import RULE_VERSION
from repertoire.technique.marks import Marks, dump
from repertoire.technique.transposing import ClefWish, How, Transposed, move
from studio.models import Teacher

OTHER = {"violin": "viola", "viola": "violin"}
_FAR = {"fifth": "a fifth", "octave": "an octave", "as written": ""}
HOWS: dict[str, How] = {"fifth": "fifth", "as written": "as written", "octave": "octave"}
CLEFS: dict[str, ClefWish] = {"": "", "alto": "alto", "treble": "treble"}


class MoveError(ValueError):
    """A passage that can't be moved; the message says why."""


@dataclass(frozen=True, slots=True)
class Linked:
    """A passage that is the same music for another instrument, and how this one came from it
    (`from_there`) or it from this one."""

    passage: Passage
    moved: MovedPart
    from_there: bool

    @property
    def words(self) -> str:
        """`for viola, a fifth lower`: the other passage as seen from this one."""
        part = self.passage.movement.revision.part
        higher = part.instrument == "violin"
        far = _FAR[self.moved.how]
        where = f"{far} {'higher' if higher else 'lower'}" if far else "at the same pitch"
        clef = f", {self.moved.clef} clef" if self.moved.clef and part.instrument == "viola" else ""
        return f"for {part.instrument}, {where}{clef}"


@dataclass(frozen=True, slots=True)
class Offered:
    """A marking of a linked passage that hasn't been carried over or left yet."""

    marking: Marking
    linked: Linked


def instrument_of(passage: Passage) -> str:
    """`violin` or `viola`, "" for anything else."""
    return instrument_with_strings(passage, passage_line(passage)) if passage.has_notation else ""


def how_it_would_be(passage: Passage, marks: Marks, how: str, clef: str) -> Transposed:
    """The passage for the other instrument, without keeping anything. Raises MoveError."""
    source = instrument_of(passage)
    if not source:
        raise MoveError("Only violin and viola passages can be moved: set the part’s instrument to one of them.")
    return move(passage_line(passage), marks, source, OTHER[source], how=HOWS[how], clef=CLEFS[clef])


def moved_passage(passage: Passage, teacher: Teacher, *, how: str = "fifth", clef: str = "") -> Passage:
    """The passage for the other instrument: one made before that is open to the teacher, or a new one of hers.
    Raises MoveError."""
    source = instrument_of(passage)
    if not source:
        raise MoveError("Only violin and viola passages can be moved: set the part’s instrument to one of them.")
    with transaction.atomic():
        movement = _moved_movement(passage.movement, source, how, clef)
        open_ones = passages_open_to(teacher).filter(movement=movement).values("pk")
        known = MovedPassage.objects.filter(origin=passage, passage__in=open_ones).order_by("pk").first()
        if known is not None:
            return Passage.objects.select_related("movement__revision__part__piece").get(pk=known.passage_id)
        bounds = Bounds(
            passage.start_bar,
            passage.start_beat,
            passage.end_bar,
            passage.end_beat,
            passage.first_number,
            passage.last_number,
        )
        made = make_passage(movement, teacher, bounds, title=passage.title, purpose=passage.purpose)
        MovedPassage.objects.create(passage=made, origin=passage)
        printed_marking(made, teacher)
    return made


def _moved_movement(movement: Movement, source: str, how: str, clef: str) -> Movement:
    """The movement in the moved part, which is made when it isn't there yet."""
    origin = movement.revision
    known = MovedPart.objects.filter(origin=origin, how=how, clef=clef).first()
    part = known.part if known else _move_part(origin, source, how, clef)
    return Movement.objects.select_related("revision__part__piece").get(
        revision__part=part, revision__source=Revision.Source.MOVED, number=movement.number
    )


def _move_part(origin: Revision, source: str, how: str, clef: str) -> Part:
    target = OTHER[source]
    far = _FAR[how]
    where = f", {far} {'lower' if target == 'viola' else 'higher'}" if far else ", at the same pitch"
    clef_word = f", {clef} clef" if clef and target == "viola" else ""
    name = f"{target.capitalize()}, from the {origin.part.name.lower()} part{where}{clef_word}"
    part = Part.objects.create(
        piece=origin.part.piece,
        name=name[:120],
        instrument=target,
        edition=origin.part.edition,
        rights=origin.part.rights,
    )
    revision = Revision.objects.create(part=part, number=1, source=Revision.Source.MOVED)
    for movement in origin.movements.all():
        line, printed = movement_notes(movement)
        moved = move(line, printed, source, target, how=HOWS[how], clef=CLEFS[clef])
        made = Movement(revision=revision, number=movement.number, title=movement.title, bar_count=movement.bar_count)
        made.line, made.printed = line_to_json(moved.line), dump(moved.marks)
        made.save()
    MovedPart.objects.create(part=part, origin=origin, how=how, clef=clef)
    return part


def linked_passages(passage: Passage, teacher: Teacher) -> list[Linked]:
    """The passages open to a teacher that are this music for another instrument: one query."""
    open_ones = passages_open_to(teacher).values("pk")
    ties = MovedPassage.objects.filter(
        Q(passage=passage, origin__in=open_ones) | Q(origin=passage, passage__in=open_ones)
    ).select_related(
        "passage__movement__revision__part__moved",
        "passage__movement__revision__part__piece",
        "origin__movement__revision__part__piece",
    )
    out = []
    for tie in ties:
        moved = getattr(tie.passage.movement.revision.part, "moved", None)
        if moved is not None:
            here = tie.passage_id == passage.pk
            out.append(Linked(tie.origin if here else tie.passage, moved, here))
    return out


def offered(passage: Passage, linked: Iterable[Linked]) -> list[Offered]:
    """Markings of linked passages that have no answer here yet, oldest first."""
    by_passage = {each.passage.pk: each for each in linked}
    if not by_passage:
        return []
    answered = CarriedMarking.objects.filter(passage=passage).values("marking")
    from_here = CarriedMarking.objects.filter(marking__passage=passage, made__isnull=False).values("made")
    waiting = (
        Marking.objects.filter(passage__in=by_passage)
        .exclude(origin=Marking.Origin.PRINTED)
        .exclude(pk__in=answered)
        .exclude(pk__in=from_here)
        .order_by("created", "id")
    )
    return [Offered(marking, by_passage[marking.passage_id]) for marking in waiting]


def carry_marking(marking: Marking, linked: Linked, passage: Passage, teacher: Teacher | None = None) -> Marking:
    """A marking of a linked passage made a marking of this one, its owner's or a teacher's who holds it; the
    same one when that was done before. Raises TransposeError."""
    teacher = teacher or passage.teacher
    with transaction.atomic():
        known = CarriedMarking.objects.select_for_update().filter(marking=marking, passage=passage).first()
        if known is not None and known.made is not None:
            return known.made
        there, here = linked.passage, passage
        source = there.movement.revision.part.instrument
        target = here.movement.revision.part.instrument or OTHER[source]
        how = HOWS[linked.moved.how]
        moved = move(passage_line(there), marks_of(marking), source, target, how=how)
        marks, rules = moved.marks, ""
        if moved.fresh:
            made_afresh = completion(passage_line(here), marks, full_size(target), preset=preset_for(here.movement))
            if made_afresh is not None:
                marks, rules = made_afresh.marks, RULE_VERSION
        made = make_marking(
            passage,
            teacher,
            marks,
            name=marking.name,
            origin=Marking.Origin.CARRIED,
            reason=marking.reason,
            source=f"from the {source} version" + (", fingered afresh" if rules else ""),
            rule_version=rules,
        )
        CarriedMarking.objects.update_or_create(
            marking=marking, passage=passage, defaults={"made": made, "teacher": teacher}
        )
    return made


def leave_marking(marking: Marking, passage: Passage) -> None:
    """A marking of a linked passage isn't wanted here."""
    CarriedMarking.objects.get_or_create(marking=marking, passage=passage, defaults={"teacher": passage.teacher})


def version_for(
    passage: Passage, teacher: Teacher, marking: Marking | None, *, clef: str = ""
) -> tuple[Passage, Marking]:
    """The passage a fifth away with one marking carried over, made when they aren't there yet."""
    with transaction.atomic():
        made = moved_passage(passage, teacher, clef=clef)
        if marking is None or marking.origin == Marking.Origin.PRINTED:
            return made, printed_marking(made, teacher)
        linked = next(each for each in linked_passages(made, teacher) if each.passage.pk == passage.pk)
        return made, carry_marking(marking, linked, made, teacher)
