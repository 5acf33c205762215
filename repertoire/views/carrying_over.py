"""Carrying a marking over to another place of the same music: looked at mark for mark, then done."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from repertoire.access import get_passage
from repertoire.elsewhere import Place, carried_there, make_passage_there, places
from repertoire.excerpts import drawn, movement_notes, passage_line, screen_of
from repertoire.markings import ASPECT_WORDS, marks_of
from repertoire.models import Marking, Passage
from repertoire.notation.cutting import cut, marks_in
from repertoire.notation.signs import describe
from repertoire.technique.marks import Aspect
from repertoire.views.marking import from_script, look_for

KEYS = {Aspect.BOW: "bow", Aspect.LEFT_HAND: "left-hand", Aspect.WORDS: "words"}
TOLD = 12  # marks left out that are named in messages


@require_http_methods(["GET", "HEAD", "POST"])
def carry_over(request: HttpRequest, passage_id: int) -> HttpResponse:
    """What each mark becomes at a place; POST makes the passage or the new version there."""
    passage = get_passage(request, passage_id)
    if not passage.has_notation:
        raise Http404
    given = request.POST if request.method == "POST" else request.GET
    place = next((p for p in places(passage) if p.key == given.get("place", "")), None)
    if place is None:
        messages.error(request, "That place isn’t there any more: choose again.")
        return redirect("passage_elsewhere", passage.pk)
    marking = _marking(passage, given.get("marking", ""))
    wanted = given.getlist("aspect") or list(KEYS.values())
    aspects = tuple(aspect for aspect, key in KEYS.items() if key in wanted)
    if request.method == "POST":
        return _carried(request, passage, place, marking, aspects)
    context = _preview(request, passage, place, marking, aspects)
    template = "_excerpt.html" if from_script(request) else "carry_over.html"
    return render(request, f"repertoire/{template}", context)


def _marking(passage: Passage, number: str) -> Marking:
    """The marking asked for, the newest without a wish. Raises Http404."""
    found = passage.markings.order_by("-number")
    if number:
        found = (
            found.filter(pk=int(number))
            if number.isascii() and number.isdecimal() and len(number) < 19
            else found.none()
        )
    marking = found.first()
    if marking is None:
        raise Http404
    return marking


def _preview(
    request: HttpRequest, passage: Passage, place: Place, marking: Marking, aspects: tuple[Aspect, ...]
) -> dict[str, Any]:
    here, (there, _) = passage_line(passage), movement_notes(place.movement)
    carried = carried_there(passage, place, marks_of(marking), aspects)
    at = place.bounds
    bars = cut(there, at.start_bar, at.start, at.end_bar, at.end)
    shown = marks_in(carried.marks, bars)
    return {
        "section": "repertoire",
        "passage": passage,
        "place": place,
        "marking": marking,
        "markings": passage.markings.defer("marks").order_by("-number"),
        "aspects": [(key, ASPECT_WORDS[aspect], aspect in aspects) for aspect, key in KEYS.items()],
        "pairs": [
            (describe(old, here), describe(new, there))
            for old, new in sorted(carried.pairs, key=lambda pair: there.order(pair[1].at))
        ],
        "left_out": [(describe(left.mark, here), left.reason) for left in carried.left_out],
        "picture": drawn(bars, shown, look_for(request, passage, printed=())),
        "excerpt_url": request.get_full_path(),
        "screen": screen_of(request),
    }


def _carried(
    request: HttpRequest, passage: Passage, place: Place, marking: Marking, aspects: tuple[Aspect, ...]
) -> HttpResponse:
    made, left_out = make_passage_there(passage, place, marking, aspects)
    done = f"“{marking.name}” is carried over to “{made.title}”." if place.known else f"“{made.title}” is made."
    messages.success(request, done)
    if made.markings.filter(origin=Marking.Origin.CARRIED).exclude(rule_version="").exists():
        messages.warning(
            request, "Its fingering couldn’t go over as it is: it is completed afresh there, so look it through."
        )
    for left in left_out[:TOLD]:
        messages.warning(request, f"Not carried over: {describe(left.mark, passage_line(passage))}: {left.reason}.")
    return redirect("passage", made.pk)
