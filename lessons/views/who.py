"""Who uses a marking, and moving several students to another one."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from lessons.assigning import AssignError
from lessons.in_use import move_all, uses_of
from lessons.models import Assignment
from lessons.views.assignments import lesson_now
from repertoire.access import get_marking
from repertoire.models import Marking
from repertoire.technique.marks import Aspect
from studio.access import teacher_of

LABELS = {
    "": "this marking",
    "bow": "its bowing",
    "left hand": "its fingering",
    "words": "its words and ornaments",
}
REASON_LIMIT = 300


@require_http_methods(["GET", "HEAD", "POST"])
def who(request: HttpRequest, marking_id: int) -> HttpResponse:
    """The students who use a marking or share an aspect of it; POST moves those ticked."""
    marking = get_marking(request, marking_id)
    told = request.POST if request.method == "POST" else request.GET
    name = told.get("aspect", "")
    name = name if name in LABELS else ""
    others = Marking.objects.filter(passage=marking.passage_id).order_by("-number")
    error = ""
    ticked = [int(n) for n in told.getlist("assignment") if n.isascii() and n.isdigit()]
    reason = told.get("reason", "")[:REASON_LIMIT]
    wanted = told.get("to", "")
    if request.method == "POST":
        mine = Assignment.objects.filter(
            student__teacher=teacher_of(request), passage=marking.passage_id, ended=None, pk__in=ticked
        ).select_related("student")
        goal = others.filter(pk=int(wanted)).first() if wanted.isascii() and wanted.isdigit() else None
        try:
            if goal is None:
                raise AssignError("Choose the marking to move them to.")
            moved = move_all(mine, goal, reason=reason, lesson_of=lesson_now, at=timezone.now())
        except AssignError as problem:
            error = str(problem)
        else:
            names = ", ".join(change.assignment.student.first_name for change in moved)
            messages.success(request, f"“{goal.name}” is now in use: {names}.")
            return redirect("who", goal.pk)
    context = {
        "section": "repertoire",
        "version": marking,
        "passage": marking.passage,
        "aspect": name,
        "label": LABELS[name],
        "labels": LABELS.items(),
        "uses": uses_of(marking, teacher_of(request), Aspect(name) if name else None),
        "others": others,
        "ticked": ticked,
        "reason": reason,
        "to": wanted,
        "error": error,
    }
    return render(request, "lessons/who.html", context, status=422 if error else 200)
