"""Where a request comes from: what the throttle of the sign-in page counts by."""

from __future__ import annotations

from django.conf import settings
from django.http import HttpRequest


def client_address(request: HttpRequest) -> str:
    """The visitor's address. Behind the HTTPS proxy it is the last one the proxy noted, never one the visitor wrote."""
    seen = str(request.META.get("REMOTE_ADDR", ""))
    if not settings.HTTPS:
        return seen
    noted = [part.strip() for part in str(request.META.get("HTTP_X_FORWARDED_FOR", "")).split(",") if part.strip()]
    return noted[-1] if noted else seen
