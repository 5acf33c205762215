"""Breaks and recitals of the studio, or of one student: a list of what is coming, and two short forms."""

from __future__ import annotations

from django.contrib import messages
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from lessons.break_forms import BreakForm, RecitalForm
from lessons.breaks import Break, Recital
from studio.access import get_student, teacher_of
from studio.models import Student


@require_http_methods(["GET", "HEAD", "POST"])
def breaks(request: HttpRequest) -> HttpResponse:
    """Everybody's, and each student's."""
    return _page(request, None)


@require_http_methods(["GET", "HEAD", "POST"])
def student_breaks(request: HttpRequest, student_id: int) -> HttpResponse:
    """Those that concern one student."""
    return _page(request, get_student(request, student_id))


def _page(request: HttpRequest, student: Student | None) -> HttpResponse:
    teacher = teacher_of(request)
    told = request.POST if request.method == "POST" else None
    what = told.get("what") if told is not None else ""
    rest = BreakForm(told if what == "break" else None, teacher=teacher, student=student)
    recital = RecitalForm(told if what == "recital" else None, teacher=teacher, student=student)
    for name, form in (("break", rest), ("recital", recital)):
        if what == name and form.is_valid():
            form.save()
            messages.success(request, f"The {name} is noted.")
            return redirect("student_breaks", student.pk) if student else redirect("breaks")
    today = timezone.localdate()
    own = Q(teacher=teacher) & (Q(student=None) | Q(student=student)) if student else Q(teacher=teacher)
    context = {
        "section": "students" if student else "calendar",
        "student": student,
        "breaks": Break.objects.filter(own, last__gte=today).select_related("student"),
        "recitals": Recital.objects.filter(own, day__gte=today).select_related("student").prefetch_related("pieces"),
        "break_form": rest,
        "recital_form": recital,
    }
    return render(request, "lessons/breaks.html", context, status=422 if told is not None else 200)


@require_POST
def break_remove(request: HttpRequest, break_id: int) -> HttpResponse:
    get_object_or_404(Break, pk=break_id, teacher=teacher_of(request)).delete()
    return _back(request, "The break is removed.")


@require_POST
def recital_remove(request: HttpRequest, recital_id: int) -> HttpResponse:
    get_object_or_404(Recital, pk=recital_id, teacher=teacher_of(request)).delete()
    return _back(request, "The recital is removed.")


def _back(request: HttpRequest, words: str) -> HttpResponse:
    messages.success(request, words)
    back = request.POST.get("student", "")
    if back.isascii() and back.isdigit() and len(back) < 18:
        return redirect("student_breaks", get_student(request, int(back)).pk)
    return redirect("breaks")
