"""How a teacher asks for the bow on the pages of a passage, and what a page shows beside it.

Reading, directions and speeds stay for her next pages; tempo, dynamic and which time through
a repeat stay while she is with one passage, so that a mark written meanwhile is read at them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from django.http import HttpRequest

from repertoire.bow import (
    AUTO,
    DYNAMICS,
    FASTEST,
    READINGS,
    SLOWEST,
    BowAsked,
    BowSaid,
    bow_settings,
    inferred_marks,
    passes,
    read,
    tell,
    tempo_note,
    usual_reading,
    usual_tempo,
)
from repertoire.comparison import Version
from repertoire.excerpts import passage_line
from repertoire.models import Passage
from repertoire.notation.look import Look
from repertoire.technique.bow_planning import PlanCosts
from repertoire.technique.marks import Marks
from repertoire.technique.strokes import BowSettings
from repertoire.technique.tempi import beat_of, tempi_of
from repertoire.working_tempo import WorkingTempo, working_tempo
from studio.access import teacher_of
from studio.terms import terms_for

KEPT_AS = "bow"
MARKED, EVERY = "marked", "every"
DIRECTIONS = ((MARKED, "as marked"), (EVERY, "every stroke"))
_STAYS = {"reading": dict(READINGS), "directions": dict(DIRECTIONS)}
_MOST_PASSES = 9


@dataclass(frozen=True)
class BowPanel:
    """The fields beside a bow distribution as they stand, and what is told under it.
    `said` has a name and the words of each marking shown; the name is "" where there is one."""

    reading: str
    usual_reading: str
    directions: str
    tempo: int
    tempo_given: bool
    tempo_changes: bool  # inside the passage
    tempo_note: str  # beside the field
    usual: int
    dynamic: str
    pass_number: int
    passes: tuple[int, ...]
    speeds: bool
    said: tuple[tuple[str, BowSaid], ...]
    slowest: int = SLOWEST
    fastest: int = FASTEST
    readings: tuple[tuple[str, str], ...] = READINGS
    all_directions: tuple[tuple[str, str], ...] = DIRECTIONS
    dynamics: tuple[str, ...] = DYNAMICS


def kept(request: HttpRequest, passage: Passage) -> dict[str, Any]:
    """What is asked for (?bow=1&reading=…), or was asked for before; wrong values are left alone."""
    before: dict[str, Any] = request.session.get(KEPT_AS, {})
    now: dict[str, Any] = {name: before[name] for name in ("reading", "directions", "speeds") if name in before}
    if before.get("passage") == passage.pk:
        now |= {name: before[name] for name in ("tempo", "dynamic", "pass") if name in before}
    given = request.GET
    if "bow" in given:
        for name, values in _STAYS.items():
            if given.get(name) in values:
                now[name] = given[name]
        if now.get("reading") == given.get("usual"):
            now.pop("reading", None)  # what is usual for these marks isn't a wish
        now["speeds"] = bool(given.get("speeds"))
        tempo = _number(given.get("tempo", ""), SLOWEST, FASTEST)
        # The usual tempo isn't a wish: another marking of the passage may have its own.
        if tempo is not None:
            now["tempo"] = tempo
        elif not given.get("tempo", "").strip():
            now.pop("tempo", None)
        now["dynamic"] = given["dynamic"] if given.get("dynamic") in DYNAMICS else ""
        now["pass"] = _number(given.get("pass", ""), 1, _MOST_PASSES) or 1
    now["passage"] = passage.pk
    if "bow" in given and now != before:
        request.session[KEPT_AS] = now
    return now


def _number(text: str, least: int, most: int) -> int | None:
    text = text.strip()
    if not (text.isascii() and text.isdigit() and len(text) < 6):
        return None
    return min(max(int(text), least), most)


def asked(request: HttpRequest, passage: Passage) -> BowAsked:
    """The bow as this teacher asks for it, with her studio's settings."""
    now = kept(request, passage)
    settings, costs = _settings(request)
    settings, whose = _at_work(request, passage, settings)
    return BowAsked(
        reading=now.get("reading", AUTO),
        tempo=now.get("tempo"),
        dynamic=now.get("dynamic", ""),
        pass_number=now.get("pass", 1),
        settings=settings,
        costs=costs,
        worked_by=whose,
    )


def _at_work(request: HttpRequest, passage: Passage, settings: BowSettings) -> tuple[BowSettings, str]:
    """The settings with the tempo a passage is worked at where none is printed, and whose it is;
    asked for once a page."""
    line = passage_line(passage)
    if tempi_of(line, settings.tempo).printed:
        return settings, ""
    kept_here: dict[str, Any] = vars(request)
    if "working_tempo" not in kept_here:
        kept_here["working_tempo"] = working_tempo(passage)
    found: WorkingTempo | None = kept_here["working_tempo"]
    if found is None:
        return settings, ""
    return replace(settings, tempo=found.quarters / beat_of(line).quarters), found.whose


def _settings(request: HttpRequest) -> tuple[BowSettings, PlanCosts]:
    """The studio's settings, read once for a page."""
    kept_here: dict[str, Any] = vars(request)
    if "bow_settings" not in kept_here:
        kept_here["bow_settings"] = bow_settings(teacher_of(request).studio)
    found: tuple[BowSettings, PlanCosts] = kept_here["bow_settings"]
    return found


def with_directions(request: HttpRequest, passage: Passage, marks: Marks) -> tuple[Marks, Marks]:
    """The marks to draw and those of them nobody wrote: a sign for every stroke, if asked for
    and while the bow stands under the staves, where the choice can be seen and changed."""
    under = request.GET.get("under") or request.session.get("under")
    if under != "bow" or not every_direction(request, passage):
        return marks, ()
    wanted = asked(request, passage)
    extra = inferred_marks(read(passage_line(passage), marks, wanted), wanted.pass_number)
    return (*marks, *extra), extra


def every_direction(request: HttpRequest, passage: Passage) -> bool:
    """Whether a sign for every stroke is asked for."""
    return bool(kept(request, passage).get("directions") == EVERY)


def drawn_for(request: HttpRequest, passage: Passage, marks: Marks, look: Look) -> tuple[Marks, Look]:
    """Marks and look of a passage's picture, with a sign for every stroke if asked for."""
    shown, extra = with_directions(request, passage, marks)
    return (shown, replace(look, inferred=extra)) if extra else (marks, look)


def panel(request: HttpRequest, passage: Passage, versions: Iterable[tuple[str, Version]]) -> BowPanel:
    """The fields and words beside the bow distribution of one or more versions, each with its name."""
    now = kept(request, passage)
    terms = terms_for(teacher_of(request).studio.terms)
    shown = list(versions)
    usual = usual_tempo(passage_line(passage), shown[0][1].bow.settings)
    reading = usual_reading(*(version.marks for _, version in shown))
    most = max((passes(version.bowing) for _, version in shown), default=1)
    return BowPanel(
        reading=now.get("reading") or shown[0][1].bow.reading or reading,
        usual_reading=reading,
        directions=now.get("directions", MARKED),
        tempo=now.get("tempo") or usual,
        tempo_given="tempo" in now,
        tempo_changes=any(version.bowing.tempi.changes for _, version in shown[:1]),
        tempo_note=tempo_note(shown[0][1].bowing, shown[0][1].bow, terms),
        usual=usual,
        dynamic=now.get("dynamic", ""),
        pass_number=min(now.get("pass", 1), most),
        passes=tuple(range(1, most + 1)),
        speeds=bool(now.get("speeds")),
        said=tuple((name, tell(v.bowing, v.placed, v.bow, terms)) for name, v in shown),
    )
