"""A passage: its excerpt, its markings, and what is done with them."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.db import transaction
from django.db.models import ProtectedError
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseNotModified
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from repertoire import excerpts, importing
from repertoire.access import get_own_passage, get_passage
from repertoire.bounds import Bounds, bounds_of, write_bounds
from repertoire.bow_asked import drawn_for
from repertoire.deleting import delete_passage, passage_uses
from repertoire.elsewhere import make_passage_there, places
from repertoire.forms import PassageForm, PassageNameForm
from repertoire.markings import make_marking, marks_of, printed_marking
from repertoire.models import Marking, Passage
from repertoire.moving import OTHER, instrument_of, linked_passages, offered
from repertoire.notation.cutting import marks_in
from repertoire.notation.signs import describe
from repertoire.queries import markings_of, overlapping
from repertoire.sharing import shared_within
from repertoire.technique.marks import Marks
from repertoire.views import pictures
from repertoire.views.left_hand import beneath
from repertoire.views.movements import preview
from studio.access import teacher_of
from studio.models import Teacher


@require_safe
def passage(request: HttpRequest, passage_id: int) -> HttpResponse:
    passage, teacher = get_passage(request, passage_id), teacher_of(request)
    markings = list(markings_of(passage))
    shown = _chosen(request, passage, markings)
    if passage.has_picture:
        return pictures.passage_page(request, passage, markings, shown, deletable=passage_uses(passage) == ())
    context: dict[str, Any] = {
        "section": "repertoire",
        "passage": passage,
        "movement": passage.movement,
        "piece": passage.movement.revision.part.piece,
        "markings": markings,
        "shown": shown,
        "overlapping": overlapping(passage, teacher),
        "shared": shared_within(passage, teacher),
        "own": passage.teacher_id == teacher.pk,
        **_moved(passage, teacher),
        "deletable": passage_uses(passage) == (),
        **_excerpt(request, passage, shown),
    }
    return render(request, "repertoire/passage.html", context)


def _moved(passage: Passage, teacher: Teacher) -> dict[str, Any]:
    """The same music for the other instrument, and what is new there."""
    linked = linked_passages(passage, teacher)
    return {
        "linked": linked,
        "offered": offered(passage, linked),
        "moved_here": any(each.from_there for each in linked),
        "other_instrument": OTHER.get(instrument_of(passage), ""),
    }


@require_safe
def passage_excerpt(request: HttpRequest, passage_id: int) -> HttpResponse:
    """The excerpt alone, drawn for the window's width as it is now."""
    passage = get_passage(request, passage_id)
    shown = _chosen(request, passage, list(markings_of(passage)))
    return render(request, "repertoire/_excerpt.html", _excerpt(request, passage, shown))


@require_safe
def passage_thumb(request: HttpRequest, passage_id: int) -> HttpResponse:
    """The first bars as a picture file, for lists; drawn when it comes into view."""
    passage = get_passage(request, passage_id)
    if not passage.has_excerpt:
        raise Http404
    shown = _chosen(request, passage, list(markings_of(passage)[:1]))
    marks, look = _marks(passage, shown), excerpts.thumb_look(request, printed=excerpts.printed_marks(passage))
    tag = f'"{excerpts.excerpt_digest(passage, marks, look)}"'
    response: HttpResponse
    if request.headers.get("If-None-Match") == tag:
        response = HttpResponseNotModified()
    else:
        first = excerpts.picture(passage, marks, look).systems[0]
        response = HttpResponse(first.svg, content_type="image/svg+xml")
    response["ETag"] = tag
    response["Cache-Control"] = "private, no-cache"
    return response


def _chosen(request: HttpRequest, passage: Passage, markings: list[Marking]) -> Marking | None:
    """The marking asked for, else the latest. Raises Http404 for another passage's."""
    wanted = request.GET.get("marking", "")
    if not wanted:
        return markings[0] if markings else None
    if not (wanted.isascii() and wanted.isdigit() and len(wanted) < 19):
        raise Http404
    found = Marking.objects.filter(passage=passage, pk=int(wanted)).first()
    if found is None:
        raise Http404
    return found


def _marks(passage: Passage, shown: Marking | None) -> Marks:
    return marks_of(shown) if shown else excerpts.printed_marks(passage)


def _excerpt(request: HttpRequest, passage: Passage, shown: Marking | None) -> dict[str, Any]:
    if passage.has_picture:
        again = reverse("passage_excerpt", args=[passage.pk]) + (f"?marking={shown.pk}" if shown else "")
        return pictures.shown(request, passage, _marks(passage, shown), again)
    if not passage.has_notation:
        return {"picture": None}
    look = excerpts.screen_look(request, printed=excerpts.printed_marks(passage))
    address = reverse("passage_excerpt", args=[passage.pk])
    marks = _marks(passage, shown)
    drawn = excerpts.picture(passage, *drawn_for(request, passage, marks, look))
    return {
        **beneath(request, passage, marks, drawn, str(shown.pk) if shown else ""),
        "excerpt_url": f"{address}?marking={shown.pk}" if shown else address,
        "screen": excerpts.screen_of(request),
    }


@require_http_methods(["GET", "HEAD", "POST"])
def passage_edit(request: HttpRequest, passage_id: int) -> HttpResponse:
    """Title and purpose; the bounds never change."""
    passage = get_own_passage(request, passage_id)
    form = PassageNameForm(request.POST or None, instance=passage)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, "Saved.")
        return redirect("passage", passage.pk)
    status = 422 if form.is_bound else 200
    context = {"section": "repertoire", "form": form, "passage": get_own_passage(request, passage_id)}
    return render(request, "repertoire/passage_edit.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
def passage_extend(request: HttpRequest, passage_id: int) -> HttpResponse:
    """A new passage with other bounds, to which the markings are carried along."""
    passage = get_own_passage(request, passage_id)
    if passage.has_picture and not passage.movement.notated:
        raise Http404  # a picture shows its bars and no others
    movement = passage.movement
    line = excerpts.movement_notes(movement)[0] if movement.notated else None
    here = bounds_of(passage)
    initial = {"bars": write_bounds(line, here), "title": passage.title, "purpose": passage.purpose}
    form = PassageForm(request.POST or None, initial=initial, line=line, bar_count=movement.bar_count)
    if request.method == "POST" and form.is_valid():
        wanted = form.cleaned_data
        if wanted["bars"] == here:
            form.add_error("bars", "These are the same bars: write the ones the new passage is to have.")
        else:
            made = extend(passage, wanted["bars"], title=wanted["title"], purpose=wanted["purpose"])
            messages.success(request, f"“{made.title}” is made; “{passage.title}” stays as it was.")
            return redirect("passage", made.pk)
    valid = form.is_bound and "bars" in form.cleaned_data
    context = {
        "section": "repertoire",
        "form": form,
        "passage": passage,
        "movement": movement,
        "piece": movement.revision.part.piece,
        "picture": preview(request, movement, form.cleaned_data["bars"] if valid else here),
        "screen": excerpts.screen_of(request),
    }
    if valid or not form.is_bound:
        # The page for new passages draws the same bars for another width of the window.
        asked = urlencode({"bars": form["bars"].value()})
        context["excerpt_url"] = f"{reverse('passage_new', args=[movement.pk])}?{asked}"
    return render(request, "repertoire/passage_extend.html", context, status=422 if form.is_bound else 200)


def extend(passage: Passage, bounds: Bounds, *, title: str = "", purpose: str = "") -> Passage:
    """A new passage of the same movement with every marking carried along: inside the old
    bounds the marking's own marks, outside them what the edition prints."""
    with transaction.atomic():
        made = importing.make_passage(
            passage.movement, passage.teacher, bounds, title=title, purpose=purpose, extends=passage
        )
        if not made.has_notation or not passage.has_notation:
            return made
        line, before = excerpts.passage_line(made), excerpts.passage_line(passage)
        printed = excerpts.printed_marks(made)
        fresh = tuple(m for m in printed if m.at not in before and m.to not in before)
        printed_marking(made, made.teacher)
        for marking in Marking.objects.filter(passage=passage).exclude(origin=Marking.Origin.PRINTED):
            make_marking(
                made,
                made.teacher,
                (*marks_in(marks_of(marking), line), *fresh),
                name=marking.name,
                origin=Marking.Origin.CARRIED,
                reason=marking.reason,
                source=f"from “{passage.title}”, {passage.bars}"[:200],
            )
    return made


@require_http_methods(["GET", "HEAD", "POST"])
def passage_elsewhere(request: HttpRequest, passage_id: int) -> HttpResponse:
    """Where the music of a passage comes again; one touch makes a passage there."""
    passage = get_own_passage(request, passage_id)
    if not passage.has_notation:
        raise Http404
    markings = list(markings_of(passage))
    found = places(passage)
    if request.method == "POST":
        place = next((p for p in found if p.key == request.POST.get("place") and p.known is None), None)
        if place is None:
            messages.error(request, "There is nothing to make a passage of: it may have been made already.")
            return redirect("passage_elsewhere", passage.pk)
        wanted = request.POST.get("marking", "")
        chosen = Marking.objects.filter(passage=passage, pk=int(wanted) if wanted.isdecimal() else 0).first()
        made, left_out = make_passage_there(passage, place, chosen)
        messages.success(request, f"“{made.title}” is made.")
        if Marking.objects.filter(passage=made, origin=Marking.Origin.CARRIED).exclude(rule_version="").exists():
            messages.warning(
                request, "Its fingering couldn’t go over as it is: it is completed afresh there, so look it through."
            )
        for left in left_out[:12]:
            messages.warning(
                request, f"Not carried over: {describe(left.mark, excerpts.passage_line(passage))}: {left.reason}."
            )
        return redirect("passage", made.pk)
    context = {
        "section": "repertoire",
        "passage": passage,
        "movement": passage.movement,
        "piece": passage.movement.revision.part.piece,
        "places": found,
        "markings": markings,
    }
    return render(request, "repertoire/passage_elsewhere.html", context)


@require_POST
def passage_delete(request: HttpRequest, passage_id: int) -> HttpResponse:
    passage = get_own_passage(request, passage_id)
    if uses := passage_uses(passage):
        messages.error(request, f"“{passage.title}” is in use ({', '.join(uses)}), so it stays.")
        return redirect("passage", passage.pk)
    movement, title = passage.movement, passage.title
    try:
        delete_passage(passage)
    except ProtectedError:
        messages.error(request, f"“{title}” is in use, so it stays.")
        return redirect("passage", passage_id)
    messages.success(request, f"“{title}” is deleted.")
    return redirect("piece", movement.revision.part.piece_id)
