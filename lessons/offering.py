"""The practice staves offered for an assignment, and those that a set of steps becomes on its passage."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from lessons.assigning import StepPlan
from lessons.models import Assignment
from lessons.practice import Ground, Recipe, RecipeError, ground, make, stave_of
from lessons.step_sets import StepSet
from lessons.stepping import plan_of
from repertoire.technique import recipes
from repertoire.technique.line import TYPES
from repertoire.technique.practice_offers import RULES, Offer, offers, shown_first
from repertoire.technique.practice_staves import Stave

NEEDS_A_NOTE = frozenset(kind for kind, found in recipes.KINDS.items() if "at" in found.takes)


# Staves that don't take the passage's tempo: slow ones, and exercises for one movement of the hand.
UNMEASURED = frozenset(("slow", "shift", "shifts", "half step", "stretch", "keep down", "tuning", "warm-up"))
_STAGES = {"bare": "bare", "turn": "with the turn", "trill": "with the trill", "mordent": "with the mordent"}


@dataclass(frozen=True)
class Offered:
    """An offer on a page: `number` picks it again, since the same passage gives the same offers."""

    number: int
    offer: Offer
    words: tuple[str, ...]
    first: bool

    @property
    def title(self) -> str:
        if self.offer.stages:
            return f"In stages: {', '.join(_STAGES[kind] for kind in self.offer.kinds)}"
        title = recipes.KINDS[self.offer.kind].title
        return title[:1].upper() + title[1:]


def quarter_tempo(assignment: Assignment, tempo: int | None) -> int | None:
    """A tempo of the assignment in quarter notes a minute."""
    if tempo is None:
        return None
    dotted, _, plain = assignment.tempo_unit.rpartition(" ")
    length = TYPES[plain] * (3 if dotted else 2) / 2
    return round(tempo * length)


def tempi_of(assignment: Assignment) -> tuple[int | None, int | None]:
    """Tempo now and goal for a new step; no goal where the tempo has passed it."""
    now, goal = assignment.tempo_now, assignment.tempo_goal
    return now, None if now and goal and goal < now else goal


def assignment_ground(assignment: Assignment) -> Ground:
    """Notes, marks and hand of an assignment's passage. Raises RecipeError."""
    if assignment.passage is None or not assignment.passage.has_notation:
        raise RecipeError("Staves are made from a passage with notation; steps in words can be written for any piece.")
    return ground(assignment.passage, assignment.marking, assignment.student)


def offered(assignment: Assignment, found: Ground) -> list[Offered]:
    """Offers that can be made on the passage and aren't among the steps yet, the first three marked."""
    out: list[tuple[int, Offer, list[Stave]]] = []
    there = [_about(step.recipe) for step in assignment.steps.filter(ended=None) if step.recipe]
    for number, offer in enumerate(offers(found.line, found.marks, found.fingering)):
        wanted = [recipe_of(assignment, offer, kind) for kind in offer.kinds]
        if all(_about(recipe.as_json()) in there for recipe in wanted):
            continue
        try:
            staves = [make(recipe, found) for recipe in wanted]
        except RecipeError:
            continue
        out.append((number, offer, staves))
    first = shown_first([offer for _, offer, _ in out])
    return [Offered(number, offer, tuple(s.words for s in staves), offer in first) for number, offer, staves in out]


def _about(recipe: Mapping[str, Any]) -> tuple[Any, ...]:
    """What a stave is about, whatever its tempo and manner: kind, bars, note."""
    return recipe.get("kind"), tuple(recipe.get("bars", ())), recipe.get("with", {}).get("at")


def recipe_of(assignment: Assignment, offer: Offer, kind: str) -> Recipe:
    """The recipe of one stave of an offer, with the assignment's marking and tempo."""
    given = recipes.suited(kind, {**offer.given, **_tempo(assignment)})
    return Recipe(kind, assignment.marking_id or 0, offer.bars, given, RULES)


def _tempo(assignment: Assignment) -> dict[str, Any]:
    tempo = quarter_tempo(assignment, assignment.tempo_now)
    return {"tempo": tempo} if tempo else {}


def plans_of_offer(assignment: Assignment, found: Ground, number: int) -> list[StepPlan]:
    """The steps an offer becomes: one, or one for each stage, which share their pulse. Raises RecipeError."""
    every = offers(found.line, found.marks, found.fingering)
    if not 0 <= number < len(every):
        raise RecipeError("That stave is no longer offered: the marking has changed.")
    offer = every[number]
    plans = []
    for kind in offer.kinds:
        recipe = recipe_of(assignment, offer, kind)
        stave = make(recipe, found)
        plans.append(_plan(assignment, stave.words, recipe, same_pulse=len(offer.kinds) > 1))
    return plans


def _plan(assignment: Assignment, words: str, recipe: Recipe, *, same_pulse: bool) -> StepPlan:
    now, goal = (None, None) if recipe.kind in UNMEASURED else tempi_of(assignment)
    return StepPlan(words[:300], now, goal, None, recipe.as_json(), same_pulse=same_pulse)


def plan_of_kind(assignment: Assignment, kind: str, bars: tuple[int, int] | None) -> StepPlan:
    """A step with a stave of a kind over chosen bars. Raises RecipeError."""
    if kind not in recipes.KINDS or kind in NEEDS_A_NOTE:
        raise RecipeError("Choose the kind of stave from the list.")
    assert assignment.passage is not None
    recipe = Recipe(kind, assignment.marking_id or 0, bars, recipes.suited(kind, _tempo(assignment)))
    stave = stave_of(recipe.as_json(), assignment.passage, assignment.student)
    return _plan(assignment, stave.words, recipe, same_pulse=False)


def plans_of_set(assignment: Assignment, kept: StepSet, found: Ground | None) -> tuple[list[StepPlan], list[str]]:
    """The steps of a set on this passage, and the words of those whose stave it gives no ground for.

    A stave about one note (a shift, a stretch) becomes the first of its kind offered here.
    """
    plans: list[StepPlan] = []
    without: list[str] = []
    for raw in kept.steps if isinstance(kept.steps, list) else []:
        stave = raw.get("stave")
        recipe = _recipe_for(assignment, stave, found) if stave and found is not None else None
        if stave and recipe is None:
            without.append(str(raw.get("text", "")))
        plans.append(plan_of(raw, recipe.as_json() if recipe else None, assignment.student))
    return plans, without


def _recipe_for(assignment: Assignment, stave: Mapping[str, Any], found: Ground) -> Recipe | None:
    kind, given = str(stave.get("kind")), stave.get("with", {})
    every = offers(found.line, found.marks, found.fingering)
    offer = next((o for o in every if kind in o.kinds), None)
    try:
        if offer is not None:
            recipe = recipe_of(assignment, offer, kind)
            recipe = Recipe(kind, recipe.marking, recipe.bars, {**recipe.given, **given}, recipe.rules)
        elif kind in NEEDS_A_NOTE:
            return None
        else:
            recipe = Recipe(kind, assignment.marking_id or 0, None, dict(given))
        make(recipe, found)
    except RecipeError:
        return None
    return recipe
