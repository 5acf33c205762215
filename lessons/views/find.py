"""Find a student, a piece or a passage by words."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from lessons import queries
from studio.access import teacher_of


@require_safe
def find(request: HttpRequest) -> HttpResponse:
    words = request.GET.get("q", "").strip()[:100]
    found = queries.find(teacher_of(request), words) if words else None
    return render(request, "lessons/find.html", {"find_words": words, "found": found})
