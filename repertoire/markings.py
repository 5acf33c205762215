"""Markings as immutable versions: making one, reading one, taking one away.

A marking is never changed. A change is a child version, numbered within its passage, with
a digest for each aspect so that "who has this fingering" is one comparison. What students
use can't be deleted; a version nothing points at can.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import ForeignObjectRel, ManyToManyRel, Max, ProtectedError
from django.db.models.signals import pre_delete
from django.dispatch import receiver

from repertoire.excerpts import passage_line, printed_marks
from repertoire.models import Marking, Passage
from repertoire.notation.look import words_for
from repertoire.notation.signs import describe_change
from repertoire.notation.slur_changes import is_slur, slur_changes
from repertoire.technique import picture_marks
from repertoire.technique.marks import Aspect, Change, Mark, Marks, changes, digest, dump, load
from studio.models import Teacher
from studio.terms import terms_for, worded

PRINTED_NAME = "As printed"
HAND_CHANGES_LIMIT = 300
# Rows that remember where a version came from, went or is shown are no use made of it.
_MEMORIES = {"suggestion", "carriedmarking", "sharedmarking"}
ASPECT_WORDS = {Aspect.BOW: "bowing", Aspect.LEFT_HAND: "fingering", Aspect.WORDS: "words and ornaments"}


class MarkingError(Exception):
    """Something that can't be done with a version; the message is for the teacher."""


def marks_of(marking: Marking) -> Marks:
    """The marks of a version."""
    return load(marking.marks)


def make_marking(
    passage: Passage,
    teacher: Teacher,
    marks: Iterable[Mark],
    *,
    name: str,
    origin: str,
    reason: str = "",
    parent: Marking | None = None,
    source: str = "",
    rule_version: str = "",
    hand_changes: str = "",
    created: datetime | None = None,
) -> Marking:
    """Keep marks as a new version of a passage, numbered after the last one; now, unless `created` says when.

    A parent must be a version of the same passage; since a parent is only ever set here,
    on a version that has no children yet, parents form no cycle. Raises MarkingError.
    """
    marks = tuple(marks)
    if any(mark.on_picture != passage.has_picture for mark in marks):
        raise MarkingError("Marks on notes belong to notation, signs at places to a picture.")
    if parent is not None and parent.passage_id != passage.pk:
        raise MarkingError(f"“{parent.name}” belongs to another passage, so this version can’t start from it.")
    with transaction.atomic():
        # Locked, so that two versions kept at once get two numbers.
        Passage.objects.select_for_update().get(pk=passage.pk)
        last = Marking.objects.filter(passage=passage).aggregate(last=Max("number"))["last"] or 0
        made = Marking(
            passage=passage,
            teacher=teacher,
            number=last + 1,
            name=name,
            origin=origin,
            source=source,
            reason=reason,
            parent=parent,
            rule_version=rule_version,
            hand_changes=hand_changes[:HAND_CHANGES_LIMIT],
            marks=dump(marks),
            bow_digest=digest(marks, Aspect.BOW),
            left_hand_digest=digest(marks, Aspect.LEFT_HAND),
            words_digest=digest(marks, Aspect.WORDS),
        )
        if created is None:
            made.save()
        else:
            made.created = created
            made.save_base(raw=True, force_insert=True)  # otherwise the time of saving would be written
    return made


def printed_marking(passage: Passage, teacher: Teacher, created: datetime | None = None) -> Marking:
    """The version "as printed" of a passage, made from its source when it isn't there yet."""
    printed = Marking.objects.filter(passage=passage, origin=Marking.Origin.PRINTED).order_by("number")
    found = printed.first()
    if found is not None:
        return found
    marks = printed_marks(passage) if passage.has_notation else ()
    with transaction.atomic():
        Passage.objects.select_for_update().get(pk=passage.pk)  # two pages opened at once ask for it twice
        found = printed.first()
        return found or make_marking(
            passage, teacher, marks, name=PRINTED_NAME, origin=Marking.Origin.PRINTED, created=created
        )


def same_aspects(one: Marking, other: Marking) -> tuple[Aspect, ...]:
    """The aspects in which two versions agree mark for mark."""
    pairs = (
        (Aspect.BOW, one.bow_digest, other.bow_digest),
        (Aspect.LEFT_HAND, one.left_hand_digest, other.left_hand_digest),
        (Aspect.WORDS, one.words_digest, other.words_digest),
    )
    return tuple(aspect for aspect, mine, theirs in pairs if mine == theirs)


@dataclass(frozen=True, slots=True)
class Difference:
    """One difference in words: "finger 4 on A4, was finger 3", and the aspect it belongs to."""

    aspect: Aspect
    words: str

    @property
    def aspect_words(self) -> str:
        return ASPECT_WORDS[self.aspect]


@dataclass(frozen=True, slots=True)
class Place:
    """What changed at one bar and beat."""

    where: str
    address: str
    changes: tuple[Difference, ...]


def ordered(passage: Passage, found: Iterable[Change]) -> tuple[Change, ...]:
    """Changes in the order the notes are read."""
    line = passage_line(passage)
    return tuple(sorted(found, key=lambda c: (line.order(c.at), c.at) if c.at in line else (len(line.events), c.at)))


def differences(passage: Passage, before: Iterable[Mark], after: Iterable[Mark]) -> tuple[Place, ...]:
    """What differs between two sets of marks, by bar and beat; on a picture by place."""
    places: dict[str, list[Difference]] = {}
    if passage.picture is not None:
        found = picture_marks.differences(before, after, passage.picture.paper)
        return tuple(Place(each.where, each.at, (Difference(each.aspect, each.words),)) for each in found)
    line = passage_line(passage)
    studio = passage.teacher.studio
    terms, said_in = words_for(studio.terms), terms_for(studio.terms)
    addresses: dict[str, str] = {}
    found_changes = ordered(passage, changes(before, after))
    for slurs in slur_changes(line, found_changes):
        where = worded(slurs.where(line), said_in)
        places.setdefault(where, []).append(Difference(Aspect.BOW, worded(slurs.words, said_in)))
        addresses.setdefault(where, slurs.address)
    for change in found_changes:
        mark = change.after or change.before
        assert mark is not None
        if is_slur(change):
            continue
        where = worded(line.where(change.at), said_in) if change.at in line else "outside this passage"
        # The place heads the list, so that a plain mark's line need not repeat it.
        words = describe_change(change, line, terms).removeprefix(f"{where}: ").removeprefix(f"{where} ")
        places.setdefault(where, []).append(Difference(mark.aspect, words))
        addresses.setdefault(where, change.at)
    told = (Place(where, addresses[where], tuple(found)) for where, found in places.items())
    return tuple(sorted(told, key=lambda p: line.order(p.address) if p.address in line else len(line.events)))


_USE_WORDS = {
    ("marking", "parent"): ("later version", "later versions"),
    ("draft", "parent"): ("draft", "drafts"),
    ("assignment", "marking"): ("assignment", "assignments"),
    ("assignment", "to_try"): ("assignment as a marking to try", "assignments as a marking to try"),
    ("sheet", "markings"): ("practice sheet", "practice sheets"),
    ("statechange", "marking"): ("moment in a student’s history", "moments in a student’s history"),
    ("markingchange", "before"): ("change in a student’s history", "changes in a student’s history"),
    ("markingchange", "after"): ("change in a student’s history", "changes in a student’s history"),
}


def uses(marking: Marking) -> tuple[str, ...]:
    """What points at a version, as counted words ("2 assignments", "1 practice sheet"); empty when nothing does.

    Every relation of the database is asked, those of apps this one doesn't know included.
    """
    found: dict[str, int] = {}
    for relation in Marking._meta.get_fields(include_hidden=True):
        if not isinstance(relation, ForeignObjectRel) or relation.related_model._meta.auto_created:
            continue
        model, field = relation.related_model, relation.field.name
        if model._meta.model_name in _MEMORIES:
            continue
        count = model._default_manager.filter(**{field: marking}).count()
        if count:
            meta = model._meta
            one, many = _USE_WORDS.get(
                (meta.model_name or "", field), (str(meta.verbose_name), str(meta.verbose_name_plural))
            )
            words = one if count == 1 else many
            found[words] = found.get(words, 0) + count
    return tuple(f"{count} {words}" for words, count in found.items())


def delete_marking(marking: Marking) -> None:
    """Take away a version nothing uses. Raises MarkingError naming what still uses it."""
    with transaction.atomic():
        if found := uses(marking):
            raise MarkingError(f"“{marking.name}” is used by {' and '.join(found)}, so it stays.")
        marking.delete()


@receiver(pre_delete, sender=Marking)
def stay_while_used(sender: type[Marking], instance: Marking, **_: Any) -> None:
    """A foreign key protects its marking by itself; a list of markings (a sheet's, those to
    try) would lose its row in silence, so it is asked here."""
    for relation in Marking._meta.related_objects:
        if isinstance(relation, ManyToManyRel):
            rows = relation.related_model._default_manager.filter(**{relation.field.name: instance})
            if found := set(rows):
                raise ProtectedError(f"“{instance.name}” is in use, so it stays.", found)
