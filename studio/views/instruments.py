"""A student's instruments: which kind and size from when to when."""

from __future__ import annotations

from django.contrib import messages
from django.db import IntegrityError, transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from studio.access import get_instrument_period, get_student
from studio.forms import InstrumentForm
from studio.models import InstrumentPeriod


@require_http_methods(["GET", "HEAD", "POST"])
def instrument_new(request: HttpRequest, student_id: int) -> HttpResponse:
    student = get_student(request, student_id)
    present = InstrumentPeriod.objects.filter(student=student, until=None).first()
    form = InstrumentForm(
        request.POST or None,
        instance=InstrumentPeriod(student=student),
        offer_ending=present is not None,
        initial={"since": timezone.localdate(), "instrument": present.instrument if present else ""},
    )
    return _show_or_save(request, form)


@require_http_methods(["GET", "HEAD", "POST"])
def instrument_edit(request: HttpRequest, student_id: int, period_id: int) -> HttpResponse:
    period = get_instrument_period(request, student_id, period_id)
    return _show_or_save(request, InstrumentForm(request.POST or None, instance=period))


@require_POST
def instrument_end(request: HttpRequest, student_id: int, period_id: int) -> HttpResponse:
    """End an open period today."""
    period = get_instrument_period(request, student_id, period_id)
    today = timezone.localdate()
    if period.until is None and period.since <= today:
        period.until = today
        period.save(update_fields=["until"])
        messages.success(request, f"The {period} ends today.")
    else:
        messages.error(request, f"The {period} can’t end today: change its dates instead.")
    return redirect("student_edit", period.student_id)


@require_POST
def instrument_remove(request: HttpRequest, student_id: int, period_id: int) -> HttpResponse:
    """Take out a period written by mistake."""
    period = get_instrument_period(request, student_id, period_id)
    period.delete()
    messages.success(request, f"The {period} is removed.")
    return redirect("student_edit", student_id)


def _show_or_save(request: HttpRequest, form: InstrumentForm) -> HttpResponse:
    period = form.instance
    if request.method == "POST" and form.is_valid():
        try:
            with transaction.atomic():
                if form.ended:
                    form.ended.save(update_fields=["until"])
                form.save()
        except IntegrityError:
            form.add_error(None, "This overlaps another period of the same instrument. Look at its dates again.")
        else:
            messages.success(request, f"Saved: {period}.")
            return redirect("student_edit", period.student_id)
    context = {"section": "students", "student": period.student, "tab": "details", "form": form}
    return render(request, "studio/instrument.html", context, status=422 if request.method == "POST" else 200)
