"""The list of students, a new student, and a student's details."""

from __future__ import annotations

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from studio.access import get_student, teacher_of
from studio.forms import InstrumentForm, StudentForm
from studio.models import InstrumentPeriod, Student, StudentHand
from studio.registry import count_by_status, students_with


@require_safe
def students(request: HttpRequest) -> HttpResponse:
    teacher = teacher_of(request)
    status = request.GET.get("status", Student.Status.ACTIVE)
    if status not in Student.Status.values:
        status = Student.Status.ACTIVE
    counts = count_by_status(teacher)
    tabs = [(value, label, counts.get(value, 0)) for value, label in Student.Status.choices]
    today = timezone.localdate()
    rows = [(student, student.instruments_on(today)) for student in students_with(teacher, status)]
    context = {"section": "students", "rows": rows, "status": status, "tabs": tabs}
    return render(request, "studio/students.html", context | {"students": [student for student, _ in rows]})


@require_http_methods(["GET", "HEAD", "POST"])
def student_new(request: HttpRequest) -> HttpResponse:
    student = Student(teacher=teacher_of(request))
    posted = request.POST if request.method == "POST" else None
    form = StudentForm(posted, instance=student)
    # The instrument is optional: only when a kind is chosen must the rest of it fit.
    wanted = bool(posted and posted.get("instrument-instrument"))
    instrument = InstrumentForm(
        posted if wanted else None, prefix="instrument", initial={"since": timezone.localdate()}
    )
    instrument.use_required_attribute = False
    fits = [form.is_valid(), instrument.is_valid() if wanted else True] if posted is not None else [False]
    if all(fits):
        with transaction.atomic():
            student = form.save()
            if wanted:
                instrument.instance.student = student
                instrument.save()
        messages.success(request, f"{student.first_name} is in the studio. Add a guardian below if there is one.")
        _warn_without_instrument(request, student)
        return redirect("student_edit", student.pk)
    return render(
        request,
        "studio/student_new.html",
        {"section": "students", "form": form, "instrument": instrument},
        status=422 if posted is not None else 200,
    )


@require_http_methods(["GET", "HEAD", "POST"])
def student_edit(request: HttpRequest, student_id: int) -> HttpResponse:
    student = get_student(request, student_id)
    shown = Student(pk=student.pk, first_name=student.first_name, status=student.status)
    form = StudentForm(request.POST or None, instance=student)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, "Saved.")
        _warn_without_instrument(request, student)
        return redirect("student_edit", student.pk)
    hand = StudentHand.objects.filter(student=student).first()
    context = {
        "section": "students",
        "student": shown,
        "tab": "details",
        "form": form,
        "periods": InstrumentPeriod.objects.filter(student=student),
        "guardianships": student.guardianships.select_related("guardian").order_by("guardian__name", "id"),
        "today": timezone.localdate(),
        "handovers": student.handovers.select_related("giver", "taker"),
        "hand_words": hand.words if hand else "",
    }
    return render(request, "studio/student_edit.html", context, status=422 if request.method == "POST" else 200)


def _warn_without_instrument(request: HttpRequest, student: Student) -> None:
    """Saved all the same; but sheets, clefs and fingerings follow the instrument."""
    if not InstrumentPeriod.objects.filter(student=student).exists():
        messages.warning(
            request,
            f"No instrument is noted for {student.first_name} yet: add one below, for clefs and fingerings go by it.",
        )
