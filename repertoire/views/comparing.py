"""Two or three markings of one passage side by side, and a new one made of two."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_GET, require_http_methods

from repertoire.access import get_passage


@require_GET
def compare(request: HttpRequest, passage_id: int) -> HttpResponse:
    get_passage(request, passage_id)
    return HttpResponse()


@require_http_methods(["GET", "POST"])
def combine(request: HttpRequest, passage_id: int) -> HttpResponse:
    get_passage(request, passage_id)
    return HttpResponse()
