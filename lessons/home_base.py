"""How the addresses of students' pages begin: the studio's own setting, or the address the teacher uses now."""

from __future__ import annotations

from django.conf import settings
from django.http import HttpRequest

from lessons.links import can_reach


def home_base(request: HttpRequest) -> str:
    """`https://studio.home.arpa`, without a slash at its end."""
    return str(settings.ADDRESS or request.build_absolute_uri("/")).rstrip("/")


def printed_base(request: HttpRequest) -> str:
    """The same for addresses on paper; "" where no other device could open them, the demonstration apart."""
    base = home_base(request)
    return base if settings.DEMO or can_reach(base) else ""
