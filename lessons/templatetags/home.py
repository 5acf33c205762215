"""What came back from a student's page at home, for the teacher's pages:

{% load home %}
{% home_week student %}          ticks of the last two weeks and questions not yet read
{% home_link student %}          the state of the student's link, with its buttons
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django import template
from django.utils import timezone

from lessons.home_models import HomeQuestion, StudentLink, Tick
from lessons.models import Lesson
from studio.models import Student

register = template.Library()
DAYS = 14


@register.inclusion_tag("lessons/_home_week.html", takes_context=True)
def home_week(context: template.Context, student: Student, lesson: Lesson | None = None) -> dict[str, Any]:
    """`Air: Mon 23 ✓ 10 min, Tue 24 ✓`, item by item, and the lines the student wrote."""
    last = timezone.localdate(lesson.starts) if lesson else timezone.localdate()
    ticks = Tick.objects.filter(student=student, day__gt=last - timedelta(days=DAYS), day__lte=last)
    standing: dict[tuple[int, Any], Tick] = {}
    for tick in ticks.order_by("made", "id"):
        standing[tick.item, tick.day] = tick
    items: dict[str, list[Tick]] = {}
    for tick in sorted(standing.values(), key=lambda t: t.day):
        if tick.done:
            items.setdefault(tick.title, []).append(tick)
    return {
        "items": items.items(),
        "questions": list(HomeQuestion.objects.filter(student=student, seen=None)),
        "student": student,
        "lesson": lesson,
        "csrf_token": context.get("csrf_token"),
    }


@register.inclusion_tag("lessons/_home_link.html", takes_context=True)
def home_link(context: template.Context, student: Student) -> dict[str, Any]:
    open_links = list(StudentLink.objects.open_at(timezone.now()).filter(student=student))
    return {
        "links": open_links,
        "until": max((link.expires for link in open_links), default=None),
        "on_paper": sum(1 for link in open_links if link.sheet_id),
        "student": student,
        "csrf_token": context.get("csrf_token"),
    }
