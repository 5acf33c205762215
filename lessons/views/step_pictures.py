"""The picture in an instruction: sent as a file, taken again from earlier ones, or taken away."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from lessons.access import get_step
from lessons.models import Step
from lessons.step_forms import StepPictureForm
from lessons.step_pictures import StepPicture, copy_step_picture, keep_step_picture
from lessons.stepping import put_picture
from repertoire.notation.scans import ScanError
from repertoire.picture_files import all_or_none
from studio.access import teacher_of
from studio.models import Teacher

EARLIER_SHOWN = 8
EARLIER_LOOKED_AT = 60
THUMB_PX = 240


@require_http_methods(["GET", "HEAD", "POST"])
def step_picture(request: HttpRequest, step_id: int) -> HttpResponse:
    """Look at a step's picture, and put another in its place."""
    step, teacher = get_step(request, step_id), teacher_of(request)
    earlier = _earlier(teacher, step)
    form = StepPictureForm(initial={"on_paper": True})
    if request.method == "POST":
        if "remove" in request.POST:
            put_picture(step, None, on=timezone.localdate())
            messages.success(request, "The picture is taken away.")
            return redirect("steps", step.assignment_id)
        student = step.assignment.student
        chosen = next((one for one in earlier if str(one.pk) == request.POST.get("earlier")), None)
        form = StepPictureForm(request.POST, request.FILES)
        made: StepPicture | None = None
        try:
            with all_or_none():
                if chosen is not None:
                    made = copy_step_picture(chosen, teacher, student)
                elif form.is_valid():
                    told = form.cleaned_data
                    made = keep_step_picture(
                        teacher, student, told["file"].read(), told["words"], on_paper=told["on_paper"]
                    )
                if made is not None:
                    put_picture(step, made, on=timezone.localdate())
        except ScanError as error:
            form.add_error("file", str(error))
        if made is not None:
            messages.success(request, "The picture stands in the instruction.")
            return redirect("steps", step.assignment_id)
    context = {
        "section": "students",
        "student": step.assignment.student,
        "assignment": step.assignment,
        "step": step,
        "form": form,
        "earlier": [(one, one.uri_within(THUMB_PX)) for one in earlier],
    }
    return render(request, "lessons/step_picture.html", context, status=422 if request.method == "POST" else 200)


def _earlier(teacher: Teacher, step: Step) -> list[StepPicture]:
    """The teacher's latest pictures, each once, without the one that stands here."""
    found: dict[str, StepPicture] = {}
    for one in StepPicture.objects.filter(teacher=teacher)[:EARLIER_LOOKED_AT]:
        found.setdefault(one.sha256, one)
    if step.picture is not None:
        found.pop(step.picture.sha256, None)
    return list(found.values())[:EARLIER_SHOWN]
