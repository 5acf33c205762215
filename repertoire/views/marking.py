"""The marking page, keeping a version, and the page of one version."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from repertoire import drafts
from repertoire.access import get_marking, get_own_marking, get_passage
from repertoire.bow_asked import drawn_for
from repertoire.drafts import ChangedElsewhere, Desk, Refused
from repertoire.excerpts import picture, printed_marks, screen_look, screen_of
from repertoire.fingerings import HOW_MANY, completion, how_many_of
from repertoire.left_hand import instrument_with_strings, preset_for
from repertoire.marking_forms import KeepForm
from repertoire.marking_page import notes_to_pick, read_mark
from repertoire.marking_tools import groups, read_wish
from repertoire.markings import MarkingError, delete_marking, differences, marks_of, uses
from repertoire.models import Marking, Passage, SharedMarking
from repertoire.notation.look import Look, words_for
from repertoire.notation.signs import describe
from repertoire.players import chosen_player
from repertoire.suggesting import changed_by_hand, standing
from repertoire.technique.line import Line
from repertoire.technique.marks import MarkError, Marks, take
from repertoire.technique.writing import Selection, rub_out, write
from repertoire.views import mending
from repertoire.views.left_hand import DRAFT, beneath
from repertoire.views.pictures import version_page
from studio.access import teacher_of
from studio.terms import terms_for

Page = Callable[..., HttpResponse]  # of a request, a desk, reasons and a status

ELSEWHERE = "This draft was changed on another page, so nothing was written here. Open it again to go on from there."

# Notes are picked by finger here, so they are drawn larger than on other pages.
STAFF_MM = {"phone": 8.0, "small": 8.5, "tablet": 9.5, "desktop": 9.5}


def look_for(request: HttpRequest, passage: Passage, **more: Any) -> Look:
    """How this teacher's screen draws the passage, her own marks apart from the printed."""
    words = words_for(teacher_of(request).studio.terms)
    wanted = {"printed": printed_marks(passage), "words": words, "instrument": drafts.instrument_of(passage)}
    return screen_look(request, **{**wanted, **more})


def from_script(request: HttpRequest) -> bool:
    return request.headers.get("X-Requested-With") == "fetch"


def excerpt(request: HttpRequest, passage: Passage, marks: Marks) -> dict[str, Any]:
    """What `_excerpt.html` needs; the page itself answers a script with the picture alone."""
    return {
        "picture": picture(passage, marks, look_for(request, passage)),
        "excerpt_url": request.get_full_path(),
        "screen": screen_of(request),
    }


def _notated(request: HttpRequest, passage_id: int) -> Passage:
    """The passage if it has notes to mark, 404 otherwise."""
    passage = get_passage(request, passage_id)
    if not passage.has_notation:
        raise Http404
    return passage


def _drawable(request: HttpRequest, passage_id: int) -> Passage:
    """The passage if it has notation or a picture to mark, 404 otherwise."""
    passage = get_passage(request, passage_id)
    if not passage.has_excerpt:
        raise Http404
    return passage


@require_GET
def mark(request: HttpRequest, passage_id: int) -> HttpResponse:
    """The passage with notes to pick and marks to set."""
    passage = get_passage(request, passage_id)
    if passage.has_picture:
        asked = request.GET.get("from", "")
        address = reverse("picture_mark", args=[passage.pk])
        return HttpResponseRedirect(address + (f"?{urlencode({'from': asked})}" if asked else ""))
    if not passage.has_notation:
        messages.info(request, "This piece was entered without notation, so there are no notes to mark.")
        return redirect("passage", passage.pk)
    desk = drafts.desk(passage, teacher_of(request), request.GET.get("from", ""))
    return _page(request, desk)


@require_POST
def mark_change(request: HttpRequest, passage_id: int) -> HttpResponse:
    """One change: a mark written or rubbed out, undo or redo."""
    passage = _notated(request, passage_id)
    try:
        desk = _changed(request, passage)
    except ChangedElsewhere:
        return refusal(request, passage, (ELSEWHERE,), status=409, page=_page)
    except (Refused, MarkError) as error:
        reasons = error.reasons if isinstance(error, Refused) else (str(error),)
        return refusal(request, passage, reasons, status=422, page=_page)
    if from_script(request):
        return render(request, "repertoire/mark_state.html", _state(request, desk))
    picked = {k: request.POST[k] for k in ("first", "last") if request.POST.get(k)}
    address = reverse("mark", args=[passage.pk]) + (f"?{urlencode(picked)}" if picked else "")
    return HttpResponseRedirect(address)


def _changed(request: HttpRequest, passage: Passage) -> Desk:
    posted = request.POST
    teacher, state, what = teacher_of(request), posted.get("state", ""), posted.get("what", "")
    if what == "undo":
        return drafts.undo(passage, teacher, state=state)
    if what == "redo":
        return drafts.redo(passage, teacher, state=state)

    def picked(line: Line) -> Selection:
        return Selection.of(line, posted.get("first", ""), posted.get("last", ""))

    if what == "complete-hand":
        return _completed(request, passage)
    if mending.asks(what):
        return mending.mend(request, passage)

    removes = what == "rub-out" or what.startswith("take:")
    if what == "rub-out":

        def make(line: Line, marks: Marks) -> Marks:
            left = rub_out(line, marks, picked(line))
            if left == marks:
                raise Refused("No mark stands there.")
            return left

        words = "removing marks"
    elif what.startswith("take:"):
        gone = read_mark(what.removeprefix("take:"))

        def make(line: Line, marks: Marks) -> Marks:
            return take(marks, gone)

        words = "removing a mark"
    else:
        wish = read_wish(what, {k: str(v) for k, v in posted.items()})

        def make(line: Line, marks: Marks) -> Marks:
            return write(line, marks, picked(line), wish.kind, wish.value, wish.options)

        words = wish.words
    return drafts.change(
        passage, teacher, state=state, wanted=posted.get("from", ""), words=words, make=make, removes=removes
    )


def _completed(request: HttpRequest, passage: Passage) -> Desk:
    """What is written in the draft, completed to a whole fingering. Raises Refused, ChangedElsewhere."""
    posted = request.POST
    desk = drafts.desk(passage, teacher_of(request), posted.get("from", ""))
    if desk.state != posted.get("state", ""):
        raise ChangedElsewhere
    instrument = instrument_with_strings(passage, desk.line)
    if not instrument:
        raise Refused("Fingerings are told for violin and viola; set the part’s instrument to one of them.")
    how_many = how_many_of(posted.get("how_many", ""))
    player = chosen_player(request, passage, instrument)
    offer = completion(desk.line, desk.marks, player, preset=preset_for(passage.movement), how_many=how_many)
    if offer is None:
        raise Refused("These notes can’t be fingered as they stand.")
    if set(offer.marks) == set(desk.marks):
        raise Refused("Nothing to add: what is written settles the whole hand already.")
    return drafts.take_suggestion(
        passage,
        teacher_of(request),
        offer,
        state=posted.get("state", ""),
        wanted=posted.get("from", ""),
        words="completing the fingering",
    )


def refusal(
    request: HttpRequest, passage: Passage, reasons: tuple[str, ...], *, status: int, page: Page
) -> HttpResponse:
    """Why a change wasn't made: a line for a script, else the page with its draft."""
    if from_script(request):
        nearest = mending.offer(request, passage) if status == 422 else None
        context = {"reasons": reasons, "passage": passage, "elsewhere": status == 409, "nearest": nearest}
        return render(request, "repertoire/mark_refused.html", context, status=status)
    desk = drafts.desk(passage, teacher_of(request), request.POST.get("from", ""))
    return page(request, desk, reasons=reasons, status=status)


def around_draft(request: HttpRequest, desk: Desk, reasons: tuple[str, ...], status: int) -> dict[str, Any]:
    """What stands about a draft on notes or on a picture: refusals, versions, another start asked for."""
    asked = request.GET.get("from", "")
    other = None
    if desk.draft and asked and asked != desk.start.key:
        other = drafts.starting_point(desk.passage, asked)
        other = None if other.key == desk.start.key else other
    return {
        "versions": Marking.objects.filter(passage=desk.passage).defer("marks").order_by("-number"),
        "reasons": reasons,
        "nearest": mending.offer(request, desk.passage) if reasons and status == 422 else None,
        "elsewhere": status == 409,
        "other_start": other,
        "section": "repertoire",
    }


def _page(request: HttpRequest, desk: Desk, *, reasons: tuple[str, ...] = (), status: int = 200) -> HttpResponse:
    context = {
        **_state(request, desk),
        **around_draft(request, desk, reasons, status),
        "how_many_choices": HOW_MANY,
        "groups": groups(terms_for(teacher_of(request).studio.terms)),
    }
    return render(request, "repertoire/mark.html", context, status=status)


def _state(request: HttpRequest, desk: Desk) -> dict[str, Any]:
    """What is drawn anew after each change: the picture, the marks as words, undo and redo."""
    passage = desk.passage
    look = look_for(request, passage, staff_mm=STAFF_MM[screen_of(request)])
    drawn = picture(passage, *drawn_for(request, passage, desk.marks, look))
    below = beneath(request, passage, desk.marks, drawn, DRAFT)
    drawn = below.pop("picture")
    notes = notes_to_pick(desk.line, desk.marks, drawn, printed_marks(passage), look.words)
    given = request.POST if request.method == "POST" else request.GET
    first = given.get("first", "")
    written = request.method == "POST" and given.get("what") not in ("undo", "redo")
    return {
        **below,
        "passage": passage,
        "desk": desk,
        "systems": notes.systems,
        "options": notes.options,
        "marks_state": notes.state,
        "screen": screen_of(request),
        "by_bar": notes.by_bar,
        "troubles": mending.in_the_way(request, desk, below.get("player")),
        "gave_way": [describe(mark, desk.line, look.words) for mark in desk.gave_way] if written else [],
        "first": first if first in desk.line else "",
        "last": given.get("last", "") or first,
    }


@require_http_methods(["GET", "POST"])
def mark_keep(request: HttpRequest, passage_id: int) -> HttpResponse:
    """Keep the draft as a new version: its name, where it comes from, and why."""
    passage = _drawable(request, passage_id)
    teacher = teacher_of(request)
    desk = drafts.desk(passage, teacher)
    if desk.draft is None or not desk.changed:
        messages.info(request, "There is nothing to keep yet: write a mark first.")
        return redirect("mark", passage.pk)
    if request.method == "GET" and from_script(request):
        return render(request, "repertoire/_excerpt.html", excerpt(request, passage, desk.marks))
    form = KeepForm(request.POST or None, initial=_keep_initial(desk))
    if taken := standing(desk.draft):
        del form.fields["origin"]
    status = 200
    reasons: tuple[str, ...] = ()
    if request.method == "POST":
        status = 422
        if form.is_valid():
            try:
                made = drafts.keep(passage, teacher, state=request.POST.get("state", ""), **form.cleaned_data)
            except ChangedElsewhere:
                status, reasons = 409, (ELSEWHERE,)
            except Refused as error:
                reasons = error.reasons
            else:
                messages.success(request, f"Kept “{made.name}” as version {made.number}.")
                return redirect("marking", made.pk)
    context = {
        "passage": passage,
        "desk": desk,
        "form": form,
        "reasons": reasons,
        "elsewhere": status == 409,
        **excerpt(request, passage, desk.marks),
        "places": differences(passage, desk.start.marks, desk.marks),
        "open_problems": drafts.open_problems(desk),
        "taken": taken,
        "hand_changes": changed_by_hand(taken, passage, desk.marks),
        "section": "repertoire",
    }
    return render(request, "repertoire/mark_keep.html", context, status=status)


def _keep_initial(desk: Desk) -> dict[str, str]:
    parent = desk.start.parent
    if parent is None or parent.origin == Marking.Origin.PRINTED:
        return {"origin": Marking.Origin.OWN}
    return {"name": parent.name, "origin": Marking.Origin.OWN}


@require_http_methods(["GET", "POST"])
def mark_discard(request: HttpRequest, passage_id: int) -> HttpResponse:
    """Ask, then throw the draft away; go on from another start when one was asked for."""
    passage = _drawable(request, passage_id)
    teacher = teacher_of(request)
    asked = (request.POST if request.method == "POST" else request.GET).get("from", "")
    desk = drafts.desk(passage, teacher, asked)
    address = reverse("mark", args=[passage.pk]) + (f"?{urlencode({'from': asked})}" if asked else "")
    if desk.draft is None:
        return HttpResponseRedirect(address)
    status = 200
    if request.method == "POST":
        try:
            drafts.discard(passage, teacher, state=request.POST.get("state", ""))
        except ChangedElsewhere:
            status = 409
        else:
            messages.success(request, "The draft is discarded.")
            return HttpResponseRedirect(address if asked else reverse("passage", args=[passage.pk]))
    context = {
        "passage": passage,
        "desk": desk,
        "asked": asked,
        "other_start": drafts.starting_point(passage, asked) if asked else None,
        "elsewhere": status == 409,
        "places": differences(passage, desk.start.marks, desk.marks),
        "section": "repertoire",
    }
    return render(request, "repertoire/mark_discard.html", context, status=status)


@require_GET
def marking(request: HttpRequest, marking_id: int) -> HttpResponse:
    """One version: the picture, where it comes from, what it changed."""
    version = get_marking(request, marking_id)
    passage = version.passage
    context: dict[str, Any] = {"version": version, "passage": passage, "section": "repertoire"}
    context["own"] = version.teacher_id == teacher_of(request).pk
    context["shared"] = SharedMarking.objects.filter(marking=version).first()
    context["used"] = uses(version)
    context["children"] = version.children.defer("marks").order_by("number")
    context["others"] = passage.markings.exclude(pk=version.pk).defer("marks").order_by("-number")
    if passage.has_picture:
        return version_page(request, version, context)
    if passage.has_notation:
        marks = marks_of(version)
        context |= excerpt(request, passage, marks)
        drawn = picture(passage, *drawn_for(request, passage, marks, look_for(request, passage)))
        context |= beneath(request, passage, marks, drawn, str(version.pk))
        if from_script(request):
            return render(request, "repertoire/_excerpt.html", context)
        if version.parent is not None and version.parent.passage_id == passage.pk:
            context["places"] = differences(passage, marks_of(version.parent), marks)
    return render(request, "repertoire/marking.html", context)


@require_GET
def changes(request: HttpRequest, marking_id: int) -> HttpResponse:
    """What differs between this version and another of the passage (its parent when none is named)."""
    version = get_marking(request, marking_id)
    passage = version.passage
    wanted = request.GET.get("with", "")
    other = version.parent
    if wanted:
        found = passage.markings.filter(pk=int(wanted)) if wanted.isdecimal() else passage.markings.none()
        other = get_object_or_404(found)
    places = None
    if other is not None and other.passage_id == passage.pk and passage.has_excerpt:
        places = differences(passage, marks_of(other), marks_of(version))
    others = passage.markings.exclude(pk=version.pk).defer("marks").order_by("-number")
    context = {"version": version, "passage": passage, "other": other, "others": others, "places": places}
    return render(request, "repertoire/marking_changes.html", {**context, "section": "repertoire"})


@require_http_methods(["POST"])
def marking_delete(request: HttpRequest, marking_id: int) -> HttpResponse:
    """Take away a version nothing uses."""
    version = get_own_marking(request, marking_id)
    try:
        delete_marking(version)
    except MarkingError as error:
        messages.error(request, str(error))
        return redirect("marking", version.pk)
    messages.success(request, f"“{version.name}” is deleted.")
    return redirect("passage", version.passage_id)
