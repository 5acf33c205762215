"""A movement as engraved pages of bars, on which a passage is picked."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from repertoire import excerpts, importing
from repertoire.access import get_movement, get_movement_now, get_own_movement
from repertoire.bounds import Bounds, BoundsError, read_bounds, write_place
from repertoire.forms import PassageForm
from repertoire.markings import printed_marking
from repertoire.models import Movement, Passage
from repertoire.notation.cutting import cut, marks_in
from repertoire.notation.picture import System
from repertoire.queries import passages_in
from repertoire.renumbering import RenumberError, first_number, renumber
from repertoire.technique.line import Line
from studio.access import teacher_of

PAGE_BARS = 24


@dataclass(frozen=True, slots=True)
class PickBar:
    """The place of a bar on its system, in percent of the system's size, and what it says when
    picked: `beats` are pairs of a beat as written and its place in percent of the bar's width."""

    index: int
    written: str
    label: str
    left: float
    top: float
    width: float
    height: float
    beats: tuple[tuple[str, float], ...]

    @property
    def style(self) -> str:
        return f"left:{self.left:.2f}%;top:{self.top:.2f}%;width:{self.width:.2f}%;height:{self.height:.2f}%"

    @property
    def beat_list(self) -> str:
        return " ".join(f"{beat}:{place:.0f}" for beat, place in self.beats)


@dataclass(frozen=True, slots=True)
class Span:
    """A passage that stands already, as a bracket over the bars of one system: its place in
    percent of the system's width, `lane` from the top, so that overlapping ones don't collide."""

    passage: Passage
    left: float
    width: float
    lane: int
    begins: bool
    ends: bool

    @property
    def style(self) -> str:
        return f"left:{self.left:.2f}%;width:{self.width:.2f}%;grid-row:{self.lane + 1}"


@require_safe
def movement(request: HttpRequest, movement_id: int) -> HttpResponse:
    """The movement from a bar on (`from`, a written index); `bar` finds a printed number. An address from before
    its bars were numbered afresh leads to it too."""
    try:
        movement = get_movement(request, movement_id)
    except Http404:
        return redirect("movement", get_movement_now(request, movement_id).pk)
    context: dict[str, Any] = {
        "section": "repertoire",
        "movement": movement,
        "piece": movement.revision.part.piece,
        "passages": passages_in(movement, teacher_of(request)),
        "bars": request.GET.get("bars", ""),
    }
    if movement.notated:
        context |= _page_of_bars(request, movement, context["passages"])
        if movement.revision.part.piece.teacher_id == teacher_of(request).pk:
            context["begins_at"] = first_number(excerpts.movement_notes(movement)[0])
            context["numbers_stand"] = movement.passages.exists()
    return render(request, "repertoire/movement.html", context)


@require_POST
def movement_numbers(request: HttpRequest, movement_id: int) -> HttpResponse:
    """The printed number of the movement's first whole bar, set before passages are made."""
    movement = get_own_movement(request, movement_id)
    told = request.POST.get("begins_at", "").strip()
    try:
        if not (told.isascii() and told.isdigit() and len(told) < 6):
            raise RenumberError("Write the number of the first bar, such as 1.")
        movement = renumber(movement, int(told))
    except RenumberError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, f"The bars of “{movement}” are numbered from {int(told)}.")
    return redirect("movement", movement.pk)


@require_safe
def movement_bars(request: HttpRequest, movement_id: int) -> HttpResponse:
    """The next page of bars, to be added below."""
    movement = get_movement(request, movement_id)
    if not movement.notated:
        return redirect("movement", movement.pk)
    return render(
        request,
        "repertoire/_bars.html",
        {"movement": movement, **_page_of_bars(request, movement, passages_in(movement, teacher_of(request)))},
    )


def _page_of_bars(request: HttpRequest, movement: Movement, passages: Iterable[Passage]) -> dict[str, Any]:
    line, printed = excerpts.movement_notes(movement)
    first, problem = _first_bar(request, line)
    last = min(first + PAGE_BARS - 1, len(line.bars))
    shown = cut(line, first, None, last, None)
    marks = marks_in(printed, shown)
    look = excerpts.screen_look(request, printed=marks, prefix=f"m{first}-")
    picture = excerpts.drawn(shown, marks, look)
    return {
        "systems": [(system, pick_bars(line, system), spans(system, passages)) for system in picture.systems],
        "first": first,
        "last": last,
        "first_number": line.bar(first).number,
        "last_number": line.bar(last).number,
        "next": last + 1 if last < len(line.bars) else None,
        "next_number": line.bar(last + 1).number if last < len(line.bars) else "",
        "before": max(1, first - PAGE_BARS) if first > 1 else None,
        "screen": excerpts.screen_of(request),
        "problem": problem,
    }


def _first_bar(request: HttpRequest, line: Line) -> tuple[int, str]:
    """The written index of the first bar to show, and what was wrong with the bar asked for."""
    if wanted := request.GET.get("bar", "").strip():
        try:
            return read_bounds(wanted, line).start_bar, ""
        except BoundsError as error:
            return 1, str(error)
    start = request.GET.get("from", "1")
    index = int(start) if start.isascii() and start.isdigit() and len(start) < 6 else 1
    return min(max(index, 1), len(line.bars)), ""


def pick_bars(line: Line, system: System) -> list[PickBar]:
    """The bars of a system as places to pick, over the whole height of the system."""
    found = []
    for index, (left, right) in sorted(system.bars.items()):
        bar = line.bar(index)
        width = max(right - left, 0.1)
        beats: dict[Fraction, float] = {}
        for event in line.in_bar(index):
            place = system.notes.get(event.address)
            if place and not event.grace and not event.whole_bar:
                beats.setdefault(bar.beat(event.onset), 100 * (place[0] - left) / width)
        found.append(
            PickBar(
                index=index,
                written=write_place(line, index),
                label=f"bar {write_place(line, index)}",
                left=100 * left / system.width_mm,
                top=0,
                width=100 * width / system.width_mm,
                height=100,
                beats=tuple((str(b), place) for b, place in sorted(beats.items())),
            )
        )
    return found


def spans(system: System, passages: Iterable[Passage]) -> list[Span]:
    """The passages over a system's bars, in score order, each in the first lane that is free."""
    found: list[Span] = []
    taken: list[int] = []  # by lane, the last bar that is covered
    for passage in passages:
        inside = [n for n in system.bars if passage.start_bar <= n <= passage.end_bar]
        if not inside:
            continue
        first, last = min(inside), max(inside)
        lane = next((n for n, end in enumerate(taken) if end < first), len(taken))
        taken[lane : lane + 1] = [last]
        left, right = system.bars[first][0], system.bars[last][1]
        found.append(
            Span(
                passage=passage,
                left=100 * left / system.width_mm,
                width=100 * (right - left) / system.width_mm,
                lane=lane,
                begins=first == passage.start_bar,
                ends=last == passage.end_bar,
            )
        )
    return found


@require_http_methods(["GET", "HEAD", "POST"])
def passage_new(request: HttpRequest, movement_id: int) -> HttpResponse:
    """The bars picked, drawn as they will be cut; with a title they become a passage."""
    movement = get_movement(request, movement_id)
    line = excerpts.movement_notes(movement)[0] if movement.notated else None
    told = request.POST if request.method == "POST" else request.GET if "bars" in request.GET else None
    form = PassageForm(told, line=line, bar_count=movement.bar_count)
    valid = form.is_bound and form.is_valid()
    if request.method == "POST" and valid:
        wanted = form.cleaned_data
        teacher = teacher_of(request)
        passage = importing.make_passage(
            movement, teacher, wanted["bars"], title=wanted["title"], purpose=wanted["purpose"]
        )
        if passage.has_notation:
            printed_marking(passage, teacher)
        return redirect("passage", passage.pk)
    context = {
        "section": "repertoire",
        "form": form,
        "movement": movement,
        "piece": movement.revision.part.piece,
        "picture": preview(request, movement, form.cleaned_data["bars"]) if valid else None,
        "screen": excerpts.screen_of(request),
    }
    if valid:
        asked = urlencode({"bars": form["bars"].value()})
        context["excerpt_url"] = f"{reverse('passage_new', args=[movement.pk])}?{asked}"
    part_only = request.headers.get("HX-Target") == "preview" or request.headers.get("X-Requested-With") == "fetch"
    context["part_only"] = part_only
    template = "repertoire/_preview.html" if part_only else "repertoire/passage_new.html"
    return render(request, template, context, status=422 if request.method == "POST" else 200)


def preview(request: HttpRequest, movement: Movement, bounds: Bounds) -> Any:
    """The picture of bars that aren't a passage yet; None without notation."""
    if not movement.notated:
        return None
    line, printed = excerpts.movement_notes(movement)
    shown = cut(line, bounds.start_bar, bounds.start, bounds.end_bar, bounds.end)
    marks = marks_in(printed, shown)
    return excerpts.drawn(shown, marks, excerpts.screen_look(request, printed=marks))
