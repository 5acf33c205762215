"""Taking and ignoring suggestions of bowing or fingering.

A suggestion is taken into the draft as one change that can be undone; kept from there, the
new version says that it was suggested, by which rules, and what was changed by hand. The
alternatives that stood beside it are stored as ignored.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db import transaction

from repertoire.excerpts import passage_line
from repertoire.markings import HAND_CHANGES_LIMIT, ordered
from repertoire.models import Draft, Marking, Passage, Suggestion
from repertoire.notation.signs import describe_change
from repertoire.technique.marks import Aspect, Marks, changes, dump, load, of_aspect
from studio.models import Teacher

_ASPECTS = {Suggestion.Aspect.BOW: Aspect.BOW, Suggestion.Aspect.LEFT_HAND: Aspect.LEFT_HAND}


@dataclass(frozen=True, slots=True)
class Offer:
    """A suggestion as shown: `marks` are all marks of the passage with it written in,
    `asked` what it was made for (preset, limits …), as JSON takes it."""

    aspect: Suggestion.Aspect
    character: str
    rule_version: str
    marks: Marks
    asked: Mapping[str, Any] = field(default_factory=dict)


def record(
    passage: Passage, teacher: Teacher, offer: Offer, answer: Suggestion.Answer, draft: Draft | None = None
) -> Suggestion:
    """Store a suggestion with its answer; `draft` is where a taken one stands."""
    return Suggestion.objects.create(
        teacher=teacher,
        passage=passage,
        aspect=offer.aspect,
        character=offer.character[:60],
        rule_version=offer.rule_version,
        asked=dict(offer.asked),
        marks=dump(offer.marks),
        answer=answer,
        draft=draft,
    )


def ignore(passage: Passage, teacher: Teacher, offers: Iterable[Offer]) -> None:
    """Store that none of these was wanted."""
    with transaction.atomic():
        for offer in offers:
            record(passage, teacher, offer, Suggestion.Answer.IGNORED)


def standing(draft: Draft) -> list[Suggestion]:
    """The suggestions taken into a draft and not undone since, oldest first."""
    numbers = [step["suggestion"] for step in draft.undo if step.get("suggestion")]
    return list(draft.suggestions.filter(pk__in=numbers).order_by("id")) if numbers else []


def changed_by_hand(suggestions: Sequence[Suggestion], passage: Passage, marks: Marks) -> str:
    """What a teacher changed in the last suggestion of each aspect, in words; "" for nothing."""
    if not suggestions:
        return ""
    line = passage_line(passage)
    words = []
    for suggestion in {s.aspect: s for s in suggestions}.values():
        aspect = _ASPECTS[Suggestion.Aspect(suggestion.aspect)]
        found = changes(of_aspect(load(suggestion.marks), aspect), of_aspect(marks, aspect))
        words += [describe_change(change, line) for change in ordered(passage, found)]
    told = "; ".join(words)
    if len(told) > HAND_CHANGES_LIMIT:
        told = f"{len(words)} changes: " + told
        return told[: HAND_CHANGES_LIMIT - 1] + "…"
    return told


def rules(suggestions: Sequence[Suggestion]) -> str:
    """The rule versions behind suggestions, as a marking stores them."""
    return ", ".join(dict.fromkeys(s.rule_version for s in suggestions))[:20]


def settle(suggestions: Sequence[Suggestion], draft: Draft, made: Marking | None) -> None:
    """When a draft is kept (`made`) or discarded (None): those that stood in it point at the
    version, the ones undone or thrown away were ignored after all."""
    kept = {s.pk for s in suggestions} if made is not None else set()
    draft.suggestions.filter(pk__in=kept).update(marking=made, draft=None)
    draft.suggestions.exclude(pk__in=kept).update(answer=Suggestion.Answer.IGNORED, draft=None)
