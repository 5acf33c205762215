"""Drafts: marks in progress on a passage, saved at every change, with undo and redo.

A draft starts from a version, from what is printed, or from bare notes, and belongs to one
teacher and passage. Nothing is written until the first change. Each change is checked; one
that can't be is refused with its reason and leaves the draft as it was. A page sends the
state it was drawn from; when another page has changed the draft since, nothing is written
and the page is told.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from django.db import transaction

from repertoire import suggesting
from repertoire.excerpts import passage_line, printed_marks
from repertoire.markings import make_marking, marks_of, printed_marking
from repertoire.models import Draft, Marking, Passage, Suggestion
from repertoire.suggesting import Offer
from repertoire.technique.checking import check
from repertoire.technique.line import Line
from repertoire.technique.marks import SPANS, Change, Mark, Marks, apply, changes, dump, load
from studio.models import Teacher

STEPS_KEPT = 200
NO_DRAFT = "0"
NO_NOTES = Line((), ())  # under a picture, whose signs stand at places and not on notes


class Refused(Exception):
    """A change that can't be made; `reasons` are for the teacher."""

    def __init__(self, *reasons: str) -> None:
        super().__init__(" ".join(reasons))
        self.reasons = reasons


class ChangedElsewhere(Exception):
    """Another page has changed, kept or discarded the draft this page was drawn from."""


@dataclass(frozen=True, slots=True)
class Start:
    """What a draft begins with: a version (`parent`), the print, or bare notes."""

    key: str  # "printed", "blank" or a marking's number in the database
    words: str
    marks: Marks
    parent: Marking | None


@dataclass(frozen=True, slots=True)
class Desk:
    """The state of the marking page: the draft if there is one, else what it would start from."""

    passage: Passage
    line: Line
    marks: Marks
    start: Start
    draft: Draft | None

    @property
    def state(self) -> str:
        """Which draft, after how many changes; two pages that agree on it agree on the marks."""
        return f"{self.draft.pk}.{self.draft.revision}" if self.draft else NO_DRAFT

    @property
    def undo(self) -> str:
        """Words for what undo would take back, "" when there is nothing."""
        return str(self.draft.undo[-1]["words"]) if self.draft and self.draft.undo else ""

    @property
    def gave_way(self) -> Marks:
        """Marks over several notes that the last change put away to make room for what it wrote."""
        step = self.draft.undo[-1]["changes"] if self.draft and self.draft.undo else []
        if not any(change["after"] for change in step):
            return ()
        gone = (Mark.from_json(change["before"]) for change in step if change["before"] and not change["after"])
        return tuple(mark for mark in gone if mark.kind in SPANS)

    @property
    def redo(self) -> str:
        return str(self.draft.redo[-1]["words"]) if self.draft and self.draft.redo else ""

    @property
    def changed(self) -> bool:
        return set(self.marks) != set(self.start.marks)


def instrument_of(passage: Passage) -> str:
    """The instrument whose strings the marks are for, "" when the part doesn't say."""
    named = passage.movement.revision.part.instrument
    return named or ("" if passage.has_picture else passage_line(passage).instrument)


def starting_point(passage: Passage, wanted: str = "") -> Start:
    """Where a draft of this passage may begin: "blank", "printed" or a version's id.

    Without a wish, or with one that can't be read, it is the newest version, or the print
    when there is none.
    """
    if wanted == "blank":
        return Start("blank", "bare notes", (), None)
    versions = Marking.objects.filter(passage=passage).order_by("-number")
    if wanted == "printed":
        versions = versions.filter(origin=Marking.Origin.PRINTED)
    elif wanted.isdecimal():
        versions = versions.filter(pk=int(wanted))
    found = versions.first()
    if found is not None:
        return Start(str(found.pk), f"“{found.name}”", marks_of(found), found)
    if wanted in ("", "printed"):
        return Start("printed", "what is printed", printed_marks(passage), None)
    return starting_point(passage)


def draft_of(passage: Passage, teacher: Teacher) -> Draft | None:
    return Draft.objects.select_related("parent").filter(passage=passage, teacher=teacher).first()


def desk(passage: Passage, teacher: Teacher, wanted: str = "") -> Desk:
    """What the marking page shows. Reads only."""
    return _desk(passage, draft_of(passage, teacher), wanted)


def _desk(passage: Passage, draft: Draft | None, wanted: str = "") -> Desk:
    line = NO_NOTES if passage.has_picture else passage_line(passage)
    if draft is None:
        start = starting_point(passage, wanted)
        return Desk(passage, line, start.marks, start, None)
    start = starting_point(passage, str(draft.parent_id) if draft.parent_id else "blank")
    return Desk(passage, line, load(draft.marks), start, draft)


def change(
    passage: Passage,
    teacher: Teacher,
    *,
    state: str,
    wanted: str,
    words: str,
    make: Callable[[Line, Marks], Marks],
    removes: bool = False,
    taken: Offer | None = None,
) -> Desk:
    """Make one change to the draft, starting it when this is the first.

    `state` is the page's (see Desk.state), `wanted` what a new draft starts from, `words`
    what undo will call the change. Taking marks away (`removes`) is never refused: what it
    leaves is told when the draft is kept. `taken` is the suggestion the change writes in.
    Raises Refused, ChangedElsewhere.
    """
    with transaction.atomic():
        draft = _draft_for(passage, teacher, state)
        now = _desk(passage, draft, wanted)
        after = make(now.line, now.marks)
        found = changes(now.marks, after)
        if not found:
            return now
        if not removes:
            _refuse_new_problems(passage, now.line, now.marks, after)
        if draft is None:
            parent = now.start.parent
            if now.start.key == "printed" and parent is None:
                parent = printed_marking(passage, teacher)
            draft = Draft(teacher=teacher, passage=passage, parent=parent, revision=0)
        step: dict[str, Any] = {"words": words, "changes": [_change_json(c) for c in found]}
        if taken is not None:
            if draft.pk is None:
                _save(draft, now.marks)
            row = suggesting.record(passage, teacher, taken, Suggestion.Answer.TAKEN, draft)
            step["suggestion"] = row.pk
        draft.undo = [*draft.undo, step][-STEPS_KEPT:]
        draft.redo = []
        _save(draft, after)
    return _desk(passage, draft)


def take_suggestion(
    passage: Passage,
    teacher: Teacher,
    offer: Offer,
    *,
    state: str,
    wanted: str,
    words: str,
    others: Iterable[Offer] = (),
) -> Desk:
    """Write a suggestion into the draft as one change; the `others` shown beside it are
    stored as ignored. Raises Refused, ChangedElsewhere."""
    with transaction.atomic():
        after = change(
            passage, teacher, state=state, wanted=wanted, words=words, make=lambda *_: offer.marks, taken=offer
        )
        suggesting.ignore(passage, teacher, others)
    return after


def undo(passage: Passage, teacher: Teacher, *, state: str) -> Desk:
    """Take back the last change. Raises Refused, ChangedElsewhere."""
    with transaction.atomic():
        draft = _draft_for(passage, teacher, state)
        if draft is None or not draft.undo:
            raise Refused("There is nothing to undo.")
        *rest, step = draft.undo
        back = [Change(c.after, c.before) for c in _changes_of(step)]
        draft.undo, draft.redo = rest, [*draft.redo, step]
        _save(draft, apply(load(draft.marks), back))
    return _desk(passage, draft)


def redo(passage: Passage, teacher: Teacher, *, state: str) -> Desk:
    """Make the change again that undo took back. Raises Refused, ChangedElsewhere."""
    with transaction.atomic():
        draft = _draft_for(passage, teacher, state)
        if draft is None or not draft.redo:
            raise Refused("There is nothing to redo.")
        *rest, step = draft.redo
        draft.redo, draft.undo = rest, [*draft.undo, step]
        _save(draft, apply(load(draft.marks), _changes_of(step)))
    return _desk(passage, draft)


def keep(
    passage: Passage,
    teacher: Teacher,
    *,
    state: str,
    name: str,
    origin: str = Marking.Origin.OWN,
    reason: str = "",
    source: str = "",
) -> Marking:
    """Make the draft a version and clear the desk. With a suggestion standing in it the version's
    origin is "suggested", whatever is given. Raises Refused, ChangedElsewhere."""
    with transaction.atomic():
        draft = _draft_for(passage, teacher, state)
        now = _desk(passage, draft)
        if draft is None or not now.changed:
            raise Refused(f"Nothing differs from {now.start.words} yet, so there is no new version to keep.")
        taken = suggesting.standing(draft)
        made = make_marking(
            passage,
            teacher,
            now.marks,
            name=name,
            origin=Marking.Origin.SUGGESTED if taken else origin,
            reason=reason,
            parent=draft.parent,
            source=source,
            rule_version=suggesting.rules(taken),
            hand_changes=suggesting.changed_by_hand(taken, passage, now.marks),
        )
        suggesting.settle(taken, draft, made)
        draft.delete()
    return made


def discard(passage: Passage, teacher: Teacher, *, state: str) -> None:
    """Throw the draft away. Raises ChangedElsewhere."""
    with transaction.atomic():
        draft = _draft_for(passage, teacher, state)
        if draft is not None:
            suggesting.settle((), draft, None)
            draft.delete()


def _draft_for(passage: Passage, teacher: Teacher, state: str) -> Draft | None:
    """The draft, locked, if it is still the one the page was drawn from."""
    draft = (
        Draft.objects.select_for_update(of=("self",))
        .select_related("parent")
        .filter(passage=passage, teacher=teacher)
        .first()
    )
    if (f"{draft.pk}.{draft.revision}" if draft else NO_DRAFT) != state:
        raise ChangedElsewhere
    return draft


def _save(draft: Draft, marks: Marks) -> None:
    draft.marks = dump(marks)
    draft.revision += 1
    draft.save()


def open_problems(now: Desk) -> tuple[str, ...]:
    """What a player would stumble over in the marks as they are, in words; nothing is known of the
    notes under a picture."""
    if now.passage.has_picture:
        return ()
    return tuple(dict.fromkeys(p.message for p in check(now.line, now.marks, instrument_of(now.passage))))


def _refuse_new_problems(passage: Passage, line: Line, before: Marks, after: Marks) -> None:
    """What was amiss before (in the print, say) is no reason to refuse a change elsewhere."""
    if passage.has_picture:
        return
    instrument = instrument_of(passage)
    if found := check(line, after, instrument):
        known = set(check(line, before, instrument))
        fresh = [p.message for p in found if p not in known]
        if fresh:
            raise Refused(*dict.fromkeys(fresh))


def _change_json(change: Change) -> dict[str, Any]:
    return {
        "before": change.before.as_json() if change.before else None,
        "after": change.after.as_json() if change.after else None,
    }


def _changes_of(step: dict[str, Any]) -> tuple[Change, ...]:
    return tuple(Change(_mark(c["before"]), _mark(c["after"])) for c in step["changes"])


def _mark(raw: dict[str, Any] | None) -> Mark | None:
    return Mark.from_json(raw) if raw else None
