"""Practice staves of steps: a stored recipe, made into notes and a picture again and again.

A recipe is a small JSON object: its format, the kind of stave (see technique/recipes.py), the
marking it is made from (0 for the marks as printed), the written bars it takes, by index, and
the parameters of the kind. The same recipe gives the same stave.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from lessons.models import Assignment, Step
from repertoire.cues import NoCue, cue_line, other_parts
from repertoire.excerpts import NoNotation, Store, drawn, passage_line, picture_digest, printed_marks
from repertoire.left_hand import hand, preset_for
from repertoire.markings import marks_of
from repertoire.models import Marking, Passage
from repertoire.notation.cue_staff import engrave_with_cue
from repertoire.notation.cutting import cut, marks_in
from repertoire.notation.left_hand_analysis import instrument_of
from repertoire.notation.look import Look
from repertoire.notation.picture import Picture
from repertoire.notation.string_strip import with_crossings
from repertoire.players import Player, full_size, player_of
from repertoire.technique import recipes
from repertoire.technique.fingering import Fingering
from repertoire.technique.line import Line, LineError
from repertoire.technique.marks import Marks
from repertoire.technique.note_spans import inside
from repertoire.technique.practice_staves import Stave, StaveError
from repertoire.technique.strings import STRING_LENGTH
from studio.models import Student

FORMAT = 1
_staves: Store[Any, Stave] = Store(200)
_cued: Store[str, Picture] = Store(20)


class RecipeError(ValueError):
    """A recipe that can't be read or made; the message says why."""


@dataclass(frozen=True)
class Recipe:
    """`kind` and `given` as in technique/recipes.py; `bars` are the first and last written bar by
    index, None for the whole passage; `marking` is 0 for the marks as printed; `rules` names the
    version of the rules that offered the stave, "" when it was chosen by hand."""

    kind: str
    marking: int = 0
    bars: tuple[int, int] | None = None
    given: Mapping[str, Any] = field(default_factory=dict)
    rules: str = ""

    def as_json(self) -> dict[str, Any]:
        out: dict[str, Any] = {"format": FORMAT, "kind": self.kind, "marking": self.marking}
        if self.bars:
            out["bars"] = list(self.bars)
        if self.given:
            out["with"] = dict(self.given)
        if self.rules:
            out["rules"] = self.rules
        return out

    @property
    def title(self) -> str:
        return recipes.KINDS[self.kind].title


def read_recipe(raw: Any) -> Recipe:
    """A recipe of the stored form. Raises RecipeError."""
    if not isinstance(raw, Mapping) or raw.get("format") != FORMAT:
        raise RecipeError(f"This practice stave is not in format {FORMAT}.")
    if set(raw) - {"format", "kind", "marking", "bars", "with", "rules"}:
        raise RecipeError("This practice stave has fields that can’t be read.")
    bars, given, marking = raw.get("bars"), raw.get("with", {}), raw.get("marking", 0)
    if not _whole(marking) or not isinstance(given, Mapping):
        raise RecipeError("This practice stave can’t be read.")
    if bars is not None and (not isinstance(bars, list | tuple) or len(bars) != 2 or not all(map(_whole, bars))):
        raise RecipeError("The bars of a practice stave are its first and its last.")
    rules = str(raw.get("rules", ""))[:40]
    recipe = Recipe(str(raw.get("kind")), marking, tuple(bars) if bars else None, dict(given), rules)
    try:
        recipes.check(recipe.kind, recipe.given)
    except StaveError as error:
        raise RecipeError(str(error)) from None
    return recipe


def _whole(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value < 2**53


@dataclass(frozen=True)
class Ground:
    """What staves are made from: the passage's notes, marks of one marking, and the whole hand."""

    line: Line
    marks: Marks
    fingering: Fingering


def ground(passage: Passage, marking: Marking | None, student: Student | None = None) -> Ground:
    """The notes, marks and left hand of a passage for a student. Raises RecipeError."""
    try:
        line = passage_line(passage)
    except NoNotation as error:
        raise RecipeError(str(error)) from None
    if marking is not None and marking.passage_id != passage.pk:
        raise RecipeError("The marking of this practice stave belongs to another passage.")
    marks = marks_of(marking) if marking is not None else printed_marks(passage)
    instrument = instrument_of(line)
    player: Player = player_of(student, instrument) if student is not None else full_size(instrument)
    named = passage.movement.revision.part.instrument or line.instrument
    preset = preset_for(passage.movement) if named in STRING_LENGTH else "balanced"
    fingering = hand(line, marks, player, preset=preset)
    if fingering is None:
        raise RecipeError("This passage can’t be fingered, so no practice stave is made from it.")
    return Ground(line, marks, fingering)


def make(recipe: Recipe, found: Ground) -> Stave:
    """The stave of a recipe. Raises RecipeError where the passage gives no ground for it."""
    try:
        line = cut(found.line, recipe.bars[0], None, recipe.bars[1], None) if recipe.bars else found.line
        marks = inside(marks_in(found.marks, line), line)
        return recipes.make(recipe.kind, line, marks, found.fingering, recipe.given)
    except (StaveError, LineError, ValueError) as error:
        raise RecipeError(str(error)) from None


def stave_of(
    raw: Any, passage: Passage, student: Student | None = None, *, known: dict[int, Ground] | None = None
) -> Stave:
    """The stave of a stored recipe on a passage, from memory when it was made lately. Raises RecipeError.

    A page with several staves gives `known`, a dictionary it keeps: what staves of one marking are
    made from is then fetched once.
    """
    recipe = read_recipe(raw)
    known = {} if known is None else known
    base = known.get(recipe.marking)
    if base is None:
        marking = None
        if recipe.marking:
            marking = Marking.objects.filter(pk=recipe.marking, passage=passage).first()
            if marking is None:
                raise RecipeError("The marking of this practice stave is gone.")
        base = known[recipe.marking] = ground(passage, marking, student)
    key = (passage.pk, passage.created, repr(recipe), base.fingering.length, base.fingering.limits)
    return _staves.get(key) or _staves.put(key, _with_cue(recipe, make(recipe, base), passage))


def _with_cue(recipe: Recipe, stave: Stave, passage: Passage) -> Stave:
    """The stave with the other part above it, where its kind asks for one. Raises RecipeError."""
    if recipe.kind != "another part":
        return stave
    parts = other_parts(passage.movement)
    if not parts:
        raise RecipeError("The file of this part holds no other part.")
    number = recipe.given.get("part", parts[0][0])
    first, last = stave.line.bars[0].index, stave.line.bars[-1].index
    try:
        line = cut(cue_line(passage, number), first, None, last, None)
    except (NoCue, LineError) as error:
        raise RecipeError(str(error)) from None
    own = stave.line.part or passage.movement.revision.part.name
    return replace(stave, line=replace(stave.line, part=own), cue=line, cue_name=dict(parts)[number])


def step_stave(step: Step) -> Stave | None:
    """The stave of a step; None where it has none or it can't be made any more."""
    passage = step.assignment.passage
    if not step.recipe or passage is None:
        return None
    try:
        return stave_of(step.recipe, passage, step.assignment.student)
    except RecipeError:
        return None


def stave_picture(stave: Stave, look: Look) -> Picture:
    """A stave drawn; all its marks are in the ink of its notes."""
    look = replace(look, printed=stave.marks, show_replaced=False, pale_printed=False)
    if stave.cue is None:
        found = drawn(stave.line, stave.marks, look)
        return with_crossings(stave.line, stave.marks, found) if stave.crossings else found
    key = f"{picture_digest(stave.line, stave.marks, look)} {picture_digest(stave.cue, (), look)}"
    names = (stave.cue_name, stave.line.part)
    return _cued.get(key) or _cued.put(key, engrave_with_cue(stave.line, stave.marks, stave.cue, names, look))


def for_marking(raw: Mapping[str, Any], assignment: Assignment) -> dict[str, Any]:
    """A stored recipe made from the marking now in use."""
    return {**raw, "marking": assignment.marking_id or 0}
