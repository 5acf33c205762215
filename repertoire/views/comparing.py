"""Two or three markings of one passage side by side, and a new one made of two."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.contrib import messages
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import urlencode
from django.views.decorators.http import require_GET, require_http_methods

from repertoire import under_staves
from repertoire.access import get_passage
from repertoire.bow import AUTO, inferred_marks, usual_reading
from repertoire.bow_asked import asked as bow_asked
from repertoire.bow_asked import every_direction, panel
from repertoire.comparison import Version, drawn_together, fact_rows, strips, with_strip
from repertoire.drafts import instrument_of
from repertoire.excerpts import passage_line, screen_of
from repertoire.marking_forms import CombineForm
from repertoire.markings import ASPECT_WORDS, Place, differences, make_marking, marks_of, same_aspects
from repertoire.models import Marking, Passage
from repertoire.notation.bow_strip import ROOM_MM
from repertoire.players import players_to_choose
from repertoire.technique.checking import check
from repertoire.technique.marks import Aspect, Mark, Marks
from repertoire.technique.marks import combine as combined
from repertoire.views.left_hand import hand_shown, hands_of
from repertoire.views.marking import excerpt, from_script, look_for
from repertoire.views.pictures import compare_page
from studio.access import teacher_of
from studio.models import Student
from studio.terms import terms_for

MOST = 3
ASPECTS = ((Aspect.BOW, "bow"), (Aspect.LEFT_HAND, "left_hand"), (Aspect.WORDS, "words"))


@dataclass(frozen=True, slots=True)
class Pair:
    """What one version has otherwise than the first: by aspect in a word, and place by place."""

    version: Version
    aspects: tuple[tuple[str, bool], ...]  # words, and whether they agree
    places: tuple[Place, ...]


@dataclass(frozen=True, slots=True)
class Lettered:
    """A version with the letter its staff is marked with."""

    letter: str
    version: Version


@dataclass(frozen=True, slots=True)
class Row:
    """One system of all versions, and what is drawn below it in words."""

    svg: str
    words: tuple[str, ...]


@require_GET
def compare(request: HttpRequest, passage_id: int) -> HttpResponse:
    """The chosen markings one under another, what differs ringed and listed, facts beside facts."""
    passage = get_passage(request, passage_id)
    if passage.has_picture:
        every = list(passage.markings.order_by("number"))
        return compare_page(request, passage, every, _chosen(request, every))
    if not passage.has_notation:
        messages.info(request, "This piece was entered without notation, so there is nothing to compare note by note.")
        return redirect("passage", passage.pk)
    every = list(passage.markings.order_by("number"))
    chosen = _chosen(request, every)
    context: dict[str, Any] = {
        "passage": passage,
        "every": every,
        "chosen": [m.pk for m in chosen],
        "too_many": len(request.GET.getlist("marking")) > MOST,
        "section": "repertoire",
    }
    if len(chosen) > 1:
        line, instrument = passage_line(passage), instrument_of(passage)
        terms = terms_for(teacher_of(request).studio.terms)
        shown = _shown(request)
        player = hand_shown(request, passage, shown)
        bow = bow_asked(request, passage)
        if bow.reading == AUTO:
            bow = replace(bow, reading=usual_reading(*(marks_of(m) for m in chosen)))
        versions = [Version(m, line, instrument, terms, player, bow) for m in chosen]
        lettered = [Lettered(letter, version) for letter, version in zip("ABC", versions, strict=False)]
        context |= {
            "versions": versions,
            "lettered": lettered,
            "rows": _systems(request, passage, lettered),
            "strips": (*strips(), ("none", "nothing")),
            "shown": shown,
            "print_strip": under_staves.printed_too(request),
            "player": player,
            "players": players_to_choose(request, player) if player else (),
            "bow": panel(request, passage, [(f"{e.letter} {e.version.marking.name}", e.version) for e in lettered])
            if shown == "bow"
            else None,
            "hands": hands_of(request, passage, lettered, player),
            "excerpt_url": request.get_full_path(),
            "screen": screen_of(request),
            "pairs": [_pair(passage, versions[0], other) for other in versions[1:]],
            "facts": fact_rows(versions),
            "students": _students(request),
        }
        if from_script(request):
            return render(request, "repertoire/compare_staves.html", context)
    return render(request, "repertoire/compare.html", context)


def _shown(request: HttpRequest) -> str:
    """What is drawn under the staves: what is asked for, else what was chosen before, else the bow."""
    return under_staves.chosen(request, "show", unless="bow")


def _students(request: HttpRequest) -> QuerySet[Student]:
    """Those a marking can be given to now."""
    return Student.objects.filter(teacher=teacher_of(request), status=Student.Status.ACTIVE)


def _chosen(request: HttpRequest, every: list[Marking]) -> list[Marking]:
    """The markings asked for, at most three; the two newest when none are. Raises Http404."""
    asked = list(dict.fromkeys(request.GET.getlist("marking")))[:MOST]
    if not asked:
        return every[-2:]
    by_id = {str(m.pk): m for m in every}
    if any(wanted not in by_id for wanted in asked):
        raise Http404
    return [by_id[wanted] for wanted in asked]


def _pair(passage: Passage, first: Version, other: Version) -> Pair:
    same = same_aspects(first.marking, other.marking)
    aspects = tuple((ASPECT_WORDS[aspect], aspect in same) for aspect, _ in ASPECTS)
    return Pair(other, aspects, differences(passage, first.marks, other.marks))


def _systems(request: HttpRequest, passage: Passage, versions: Sequence[Lettered]) -> list[Row]:
    """The versions as staves of one system, row by row, with a strip for each below it."""
    staves = [(each.letter, each.version.line, each.version.marks) for each in versions]
    shown = _shown(request)
    room = ROOM_MM if shown == "bow" else 0.0
    every = shown == "bow" and every_direction(request, passage)
    signs = [inferred_marks(v.bowing, v.bow.pass_number) if every else () for v in (e.version for e in versions)]
    drawn = drawn_together(staves, look_for(request, passage, prefix="c-"), signs, room_mm=room)
    rows = []
    for system in drawn.systems:
        words = []
        for number, each in enumerate(versions):
            system, said = with_strip(each.version, system, shown, staff=number, letter=each.letter)
            words += [f"{each.version.marking.name}: {said}"] if said else []
        rows.append(Row(system.svg, tuple(words)))
    return rows


@require_http_methods(["GET", "POST"])
def combine(request: HttpRequest, passage_id: int) -> HttpResponse:
    """A new version from two: for each aspect, whose marks to take."""
    passage = get_passage(request, passage_id)
    if not passage.has_excerpt:
        messages.info(request, "This piece was entered without notation, so there are no marks to combine.")
        return redirect("passage", passage.pk)
    given = request.POST if request.method == "POST" else request.GET
    every = list(passage.markings.order_by("number"))
    one, other = _two(given.get("one", ""), given.get("other", ""), every)
    context: dict[str, Any] = {"passage": passage, "every": every, "one": one, "other": other}
    context["section"] = "repertoire"
    status = 200
    if one is not None and other is not None:
        takes = {
            key: given.get(key, default) for (_, key), default in zip(ASPECTS, ("one", "other", "one"), strict=True)
        }
        marks = _combined(one, other, takes)
        problems = _together(passage, marks, marks_of(one), marks_of(other))
        twin = _twin(every, marks)
        form = CombineForm(request.POST or None, initial={"reason": _reason(one, other, takes)})
        if request.method == "POST":
            status = 422
            if form.is_valid() and not problems and twin is None:
                parent = one if takes["bow"] == "one" else other
                made = make_marking(
                    passage,
                    teacher_of(request),
                    marks,
                    origin=Marking.Origin.COMBINED,
                    parent=parent,
                    **form.cleaned_data,
                )
                messages.success(request, f"Kept “{made.name}” as version {made.number}.")
                return redirect("marking", made.pk)
        context |= {
            "form": form,
            "problems": problems,
            "twin": twin,
            "takes": [(ASPECT_WORDS[aspect], key, takes[key]) for aspect, key in ASPECTS],
            "can_keep": not problems and twin is None,
            **excerpt(request, passage, marks),
            "excerpt_url": f"{request.path}?{urlencode({'one': str(one.pk), 'other': str(other.pk), **takes})}",
        }
        if request.method == "GET" and from_script(request):
            return render(request, "repertoire/_excerpt.html", context)
    return render(request, "repertoire/marking_combine.html", context, status=status)


def _two(one: str, other: str, every: list[Marking]) -> tuple[Marking | None, Marking | None]:
    """The two versions; the newest two when none are named. Raises Http404 for foreign ones."""
    if not one and not other:
        return (every[-2], every[-1]) if len(every) > 1 else (None, None)
    by_id = {str(m.pk): m for m in every}
    if one not in by_id or other not in by_id:
        raise Http404
    return by_id[one], by_id[other]


def _combined(one: Marking, other: Marking, takes: dict[str, str]) -> Marks:
    from_other = tuple(aspect for aspect, key in ASPECTS if takes[key] == "other")
    return combined(marks_of(one), marks_of(other), *from_other)


def _together(passage: Passage, marks: Marks, *known: Marks) -> tuple[str, ...]:
    """Why the marks can't stand together, where neither version alone has the same trouble."""
    if passage.has_picture:
        return ()
    line, instrument = passage_line(passage), instrument_of(passage)
    before = {p for theirs in known for p in check(line, theirs, instrument)}
    return tuple(dict.fromkeys(p.message for p in check(line, marks, instrument) if p not in before))


def _twin(every: list[Marking], marks: tuple[Mark, ...]) -> Marking | None:
    return next((m for m in every if set(marks_of(m)) == set(marks)), None)


def _reason(one: Marking, other: Marking, takes: dict[str, str]) -> str:
    names = {"one": one.name, "other": other.name}
    parts = [f"{ASPECT_WORDS[aspect]} of “{names[takes[key]]}”" for aspect, key in ASPECTS if takes[key] in names]
    return ", ".join(parts)[:300]
