"""The page on which signs are placed on a picture: the draft, one change after another."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_POST, require_safe

from repertoire import drafts, excerpts
from repertoire.access import get_passage
from repertoire.drafts import ChangedElsewhere, Desk, Refused
from repertoire.marking_page import read_mark
from repertoire.marking_tools import Row, Tool, read_wish
from repertoire.models import Passage
from repertoire.notation.picture_signs import draw
from repertoire.technique.line import Line
from repertoire.technique.marks import STRINGS, Kind, Mark, MarkError, Marks, take
from repertoire.technique.picture_marks import Paper, describe, in_order, name, nearest, nudge, place_sign
from repertoire.technique.picture_places import Place, PlaceError, parse_place
from repertoire.views.marking import ELSEWHERE, around_draft, from_script, refusal
from studio.access import teacher_of

ROWS = (
    Row(
        "Bow",
        (
            Tool(Kind.BOW, "down", "down-bow", "down-bow", "v"),
            Tool(Kind.BOW, "up", "up-bow", "up-bow", "u"),
            Tool(Kind.RETAKE, "", "retake", "retake"),
        ),
    ),
    Row(
        "From place to place",
        (Tool(Kind.SLUR, "", "slur", "slur", "("), Tool(Kind.SLUR, "dashed", "dashed slur", "dashed-slur")),
    ),
    Row("Finger", tuple(Tool(Kind.FINGER, n, n, key=n) for n in "01234"), fields="substitution"),
    Row("String", tuple(Tool(Kind.STRING, n, n) for n in STRINGS)),
    Row("Words", (), fields="text"),
)
WAYS = {"left": (-1, 0), "right": (1, 0), "up": (0, -1), "down": (0, 1)}
STEP = 0.005  # of the picture's width


@dataclass(frozen=True, slots=True)
class Standing:
    """A sign of the draft: its words, its place in percent for the cursor, and what its buttons send."""

    words: str
    raw: str
    x: str
    y: str


@require_safe
def picture_mark(request: HttpRequest, passage_id: int) -> HttpResponse:
    """The picture with its signs, a place to choose and signs to put there."""
    passage = _pictured(request, passage_id)
    return _page(request, drafts.desk(passage, teacher_of(request), request.GET.get("from", "")))


def _pictured(request: HttpRequest, passage_id: int) -> Passage:
    passage = get_passage(request, passage_id)
    if not passage.has_picture:
        raise Http404
    return passage


def _paper(passage: Passage) -> Paper:
    assert passage.picture is not None
    return passage.picture.paper


@require_POST
def picture_change(request: HttpRequest, passage_id: int) -> HttpResponse:
    """One change: a sign placed, moved or removed, undo or redo."""
    passage = _pictured(request, passage_id)
    try:
        desk = _changed(request, passage)
    except ChangedElsewhere:
        return refusal(request, passage, (ELSEWHERE,), status=409, page=_page)
    except (Refused, MarkError, PlaceError) as error:
        reasons = error.reasons if isinstance(error, Refused) else (str(error),)
        return refusal(request, passage, reasons, status=422, page=_page)
    if from_script(request):
        return render(request, "repertoire/picture_state.html", _state(request, desk))
    chosen = {k: request.POST[k] for k in ("x", "y", "to_x", "to_y") if request.POST.get(k)}
    address = reverse("picture_mark", args=[passage.pk]) + (f"?{urlencode(chosen)}" if chosen else "")
    return HttpResponseRedirect(address)


def _changed(request: HttpRequest, passage: Passage) -> Desk:
    posted = request.POST
    teacher, state, what = teacher_of(request), posted.get("state", ""), posted.get("what", "")
    if what == "undo":
        return drafts.undo(passage, teacher, state=state)
    if what == "redo":
        return drafts.redo(passage, teacher, state=state)
    paper = _paper(passage)
    removes = what == "rub-out" or what.startswith("take:")
    if what == "rub-out":
        place = _place(posted.get("x", ""), posted.get("y", ""))

        def make(_: Line, marks: Marks) -> Marks:
            found = nearest(marks, place, paper)
            if found is None:
                raise Refused("No sign stands there.")
            return take(marks, found)

        words = "removing a sign"
    elif what.startswith("take:"):
        gone = read_mark(what.removeprefix("take:"))

        def make(_: Line, marks: Marks) -> Marks:
            return take(marks, gone)

        words = f"removing {name(gone)}"
    elif what.startswith("move:"):
        way, _, raw = what.removeprefix("move:").partition(":")
        sign = read_mark(raw)
        if way not in WAYS:
            raise MarkError("A sign is moved left, right, up or down.")
        right, down = WAYS[way]

        def make(_: Line, marks: Marks) -> Marks:
            return nudge(marks, sign, right * STEP, down * STEP * paper.width / paper.height)

        words = f"moving {name(sign)}"
    else:
        sign = _sign(request)

        def make(_: Line, marks: Marks) -> Marks:
            return place_sign(marks, sign)

        words = name(sign)
    wanted = posted.get("from", "")
    return drafts.change(passage, teacher, state=state, wanted=wanted, words=words, make=make, removes=removes)


def _sign(request: HttpRequest) -> Mark:
    """The sign a button asks for, at the place in the form. Raises MarkError, PlaceError."""
    posted = request.POST
    wish = read_wish(posted.get("what", ""), {k: str(v) for k, v in posted.items()})
    at = _place(posted.get("x", ""), posted.get("y", "")).address
    if wish.kind is not Kind.SLUR:
        return Mark(wish.kind, at, wish.value, options=wish.options)
    if not posted.get("to_x") or not posted.get("to_y"):
        raise MarkError("A slur goes from one place to another: mark where it starts, then where it ends.")
    return Mark(wish.kind, at, wish.value, _place(posted["to_x"], posted["to_y"]).address, wish.options)


def _place(x: str, y: str) -> Place:
    """A place from percents as typed. Raises PlaceError."""
    try:
        return Place(float(x.replace(",", ".")) / 100, float(y.replace(",", ".")) / 100)
    except ValueError as error:
        if isinstance(error, PlaceError):
            raise
        raise PlaceError("Choose a place on the picture first: percent from the left and from the top.") from None


def _page(request: HttpRequest, desk: Desk, *, reasons: tuple[str, ...] = (), status: int = 200) -> HttpResponse:
    given = request.POST if request.method == "POST" else request.GET
    context = {
        **_state(request, desk),
        **around_draft(request, desk, reasons, status),
        "rows": ROWS,
        "picture_url": reverse("passage_picture", args=[desk.passage.pk]),
        "paper": _paper(desk.passage),
        "place": {k: given.get(k, "")[:8] for k in ("x", "y", "to_x", "to_y")},
    }
    return render(request, "repertoire/picture_mark.html", context, status=status)


def _state(request: HttpRequest, desk: Desk) -> dict[str, Any]:
    """What is drawn anew after each change: the signs over the picture, the list, undo and redo."""
    paper = _paper(desk.passage)
    drawn = draw("", paper, desk.marks, width_mm=excerpts.SCREENS[excerpts.screen_of(request)], image=False)
    return {
        "passage": desk.passage,
        "desk": desk,
        "signs_svg": drawn.systems[0].svg,
        "standing": [_standing(mark, paper) for mark in in_order(desk.marks, paper)],
    }


def _standing(mark: Mark, paper: Paper) -> Standing:
    place = parse_place(mark.at)
    raw = json.dumps(mark.as_json(), separators=(",", ":"), ensure_ascii=False)
    return Standing(describe(mark, paper), raw, f"{100 * place.x:.2f}", f"{100 * place.y:.2f}")
