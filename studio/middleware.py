"""The studio's time zone for every request of a signed-in teacher."""

from __future__ import annotations

from collections.abc import Callable
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.utils import timezone


class StudioMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.user.is_authenticated:
            with timezone.override(ZoneInfo(request.user.studio.timezone)):
                return self.get_response(request)
        return self.get_response(request)
