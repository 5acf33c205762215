"""For every request of a signed-in teacher: the studio's time zone, and pages that stay between her and the studio."""

from __future__ import annotations

from collections.abc import Callable
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.utils import timezone


class StudioMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if not request.user.is_authenticated:
            return self.get_response(request)
        with timezone.override(ZoneInfo(request.user.studio.timezone)):
            response = self.get_response(request)
        response.headers.setdefault("Cache-Control", "private, no-cache")
        return response
