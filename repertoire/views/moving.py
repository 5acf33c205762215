"""A passage for the other instrument, and the markings offered between the two."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import urlencode
from django.views.decorators.http import require_http_methods, require_POST

from repertoire.access import get_own_passage
from repertoire.excerpts import drawn, passage_line, printed_marks, screen_of
from repertoire.markings import marks_of, printed_marking
from repertoire.models import Marking, MovedPart, Passage
from repertoire.moving import (
    CLEFS,
    HOWS,
    OTHER,
    carry_marking,
    how_it_would_be,
    instrument_of,
    leave_marking,
    linked_passages,
    moved_passage,
    offered,
)
from repertoire.queries import markings_of
from repertoire.views.marking import from_script, look_for
from studio.access import teacher_of


@require_http_methods(["GET", "HEAD", "POST"])
def passage_move(request: HttpRequest, passage_id: int) -> HttpResponse:
    """How the passage stands on the other instrument; keeping it makes a linked passage."""
    passage = get_own_passage(request, passage_id)
    source = instrument_of(passage)
    if not source:
        messages.info(request, "Only violin and viola passages with notes can be moved to the other instrument.")
        return redirect("passage", passage.pk)
    given = request.POST if request.method == "POST" else request.GET
    how = given.get("how", "") if given.get("how", "") in HOWS else "fifth"
    clef = given.get("clef", "") if given.get("clef", "") in CLEFS else ""
    if OTHER[source] == "violin":
        clef = ""
    markings = [m for m in markings_of(passage) if m.origin != Marking.Origin.PRINTED]
    if request.method == "POST":
        return _keep(request, passage, how, clef, markings)
    shown = _shown(request, passage)
    would = how_it_would_be(passage, marks_of(shown), how, clef)
    printed = how_it_would_be(passage, printed_marks(passage), how, clef).marks
    look = look_for(request, passage, instrument=OTHER[source], printed=printed)
    asked = urlencode({"how": how, "clef": clef, "marking": str(shown.pk)})
    context: dict[str, Any] = {
        "section": "repertoire",
        "passage": passage,
        "piece": passage.movement.revision.part.piece,
        "source": source,
        "target": OTHER[source],
        "how": how,
        "clef": clef,
        "hows": _hows(OTHER[source]),
        "clefs": MovedPart.Clef.choices,
        "shown": shown,
        "markings": markings,
        "fresh": would.fresh,
        "out_of_range": [(passage_line(passage).where(address), pitch.label) for address, pitch in would.out_of_range],
        "picture": drawn(would.line, would.marks, look),
        "excerpt_url": f"{request.path}?{asked}",
        "screen": screen_of(request),
    }
    page = "_excerpt.html" if from_script(request) else "passage_move.html"
    return render(request, f"repertoire/{page}", context)


def _hows(target: str) -> list[tuple[str, str]]:
    way = "lower" if target == "viola" else "higher"
    return [
        ("fifth", f"a fifth {way}: the same fingers on the corresponding strings"),
        ("as written", "at the same pitch, fingered afresh"),
        ("octave", f"an octave {way}, fingered afresh"),
    ]


def _shown(request: HttpRequest, passage: Passage) -> Marking:
    """The marking the preview carries: the one asked for, else the newest. Raises Http404."""
    wanted = request.GET.get("marking", "")
    versions = Marking.objects.filter(passage=passage).order_by("-number")
    if wanted:
        if not (wanted.isascii() and wanted.isdecimal() and len(wanted) < 19):
            raise Http404
        found = versions.filter(pk=int(wanted)).first()
        if found is None:
            raise Http404
        return found
    return versions.first() or printed_marking(passage, teacher_of(request))


def _keep(request: HttpRequest, passage: Passage, how: str, clef: str, markings: list[Marking]) -> HttpResponse:
    """Make the linked passage and carry the ticked markings; the others were left on purpose."""
    teacher = teacher_of(request)
    made = moved_passage(passage, teacher, how=how, clef=clef)
    link = next(each for each in linked_passages(made, teacher) if each.passage.pk == passage.pk)
    wanted = set(request.POST.getlist("carry"))
    waiting = {each.marking.pk for each in offered(made, [link])}
    carried = 0
    for marking in reversed(markings):
        if marking.pk not in waiting:
            continue
        if str(marking.pk) in wanted:
            carry_marking(marking, link, made)
            carried += 1
        else:
            leave_marking(marking, made)
    words = f" with {carried} marking{'s' * (carried != 1)} carried over" if carried else ""
    messages.success(request, f"This is “{made.title}” for the {made.movement.revision.part.instrument}{words}.")
    return redirect("passage", made.pk)


@require_POST
def passage_carry(request: HttpRequest, passage_id: int) -> HttpResponse:
    """Carry over, or leave, one marking of the linked passage."""
    passage = get_own_passage(request, passage_id)
    wanted = request.POST.get("marking", "")
    waiting = offered(passage, linked_passages(passage, teacher_of(request)))
    found = next((o for o in waiting if str(o.marking.pk) == wanted), None)
    if found is None:
        messages.info(request, "That marking has been answered already.")
        return redirect("passage", passage.pk)
    if request.POST.get("what") == "leave":
        leave_marking(found.marking, passage)
        messages.success(request, f"“{found.marking.name}” stays with the {found.linked.passage.title} it came from.")
        return redirect("passage", passage.pk)
    made = carry_marking(found.marking, found.linked, passage)
    fresh = " The left hand is completed afresh: look it through." if made.rule_version else ""
    messages.success(request, f"Carried over “{made.name}” as version {made.number}.{fresh}")
    return redirect("passage", passage.pk)
