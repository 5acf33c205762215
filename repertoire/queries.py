"""Every list of music, with what its page names fetched along: the number of queries of a
page doesn't grow with its length."""

from __future__ import annotations

from django.db.models import Count, Exists, OuterRef, Prefetch, Q, QuerySet

from repertoire.models import Marking, Movement, Part, Passage, PassageHolder, Piece
from studio.models import Teacher

ORDERS = {"composer": ("composer", "title", "id"), "title": ("title", "composer", "id")}


def pieces_of(teacher: Teacher, *, words: str = "", instrument: str = "", order: str = "composer") -> QuerySet[Piece]:
    """The studio's pieces with their parts and the number of the teacher's passages (`passage_count`).
    Every word must be found in the title, the composer, a part's name or its edition."""
    pieces = pieces_open_to(teacher).select_related("teacher")
    passages = "parts__revisions__movements__passages"
    for word in words.split():
        of_part = Q(name__icontains=word) | Q(edition__icontains=word)
        pieces = pieces.filter(Q(title__icontains=word) | Q(composer__icontains=word) | Exists(_parts(of_part)))
    if instrument:
        pieces = pieces.filter(Exists(_parts(Q(instrument=instrument))))
    return (
        pieces.annotate(passage_count=Count(passages, filter=Q(**{f"{passages}__teacher": teacher}), distinct=True))
        .prefetch_related(Prefetch("parts", parts_with_notes()))
        .order_by(*ORDERS.get(order, ORDERS["composer"]))
    )


def pieces_open_to(teacher: Teacher) -> QuerySet[Piece]:
    """The pieces of every teacher of the studio."""
    return Piece.objects.filter(teacher__studio=teacher.studio_id)


def passages_open_to(teacher: Teacher) -> QuerySet[Passage]:
    """A teacher's own passages and those she holds together with a colleague."""
    held = PassageHolder.objects.filter(passage=OuterRef("pk"), teacher=teacher)
    return Passage.objects.filter(Q(teacher=teacher) | Exists(held))


def _parts(condition: Q) -> QuerySet[Part]:
    return Part.objects.filter(condition, piece=OuterRef("pk"))


def parts_with_notes() -> QuerySet[Part]:
    """Parts, each saying whether it has notation (`notated`)."""
    return Part.objects.annotate(
        notated=Exists(Movement.objects.filter(revision__part=OuterRef("pk"), notated=True)),
    )


def parts_of(piece: Piece) -> QuerySet[Part]:
    """The piece's parts with revisions and movements, oldest first."""
    return parts_with_notes().filter(piece=piece).prefetch_related("revisions__movements")


def passages_of(piece: Piece, teacher: Teacher) -> QuerySet[Passage]:
    """A teacher's passages of a piece in score order, with the number of their markings."""
    return _in_score_order(passages_open_to(teacher).filter(movement__revision__part__piece=piece))


def passages_in(movement: Movement, teacher: Teacher) -> QuerySet[Passage]:
    return _in_score_order(passages_open_to(teacher).filter(movement=movement))


def _in_score_order(passages: QuerySet[Passage]) -> QuerySet[Passage]:
    return (
        passages.select_related("movement__revision__part__piece")
        .annotate(marking_count=Count("markings"))
        .order_by("movement__revision__part", "movement__number", "start_bar", "end_bar", "id")
    )


def overlapping(passage: Passage, teacher: Teacher) -> QuerySet[Passage]:
    """Other passages of a teacher that share bars with this one."""
    shared = passages_in(passage.movement, teacher).exclude(pk=passage.pk)
    return shared.filter(start_bar__lte=passage.end_bar, end_bar__gte=passage.start_bar)


def markings_of(passage: Passage) -> QuerySet[Marking]:
    """The markings of a passage, latest first, without their marks."""
    return (
        Marking.objects.filter(passage=passage)
        .select_related("parent")
        .defer("marks", "parent__marks")
        .order_by("-number")
    )
