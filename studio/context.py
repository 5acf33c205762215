"""What every template knows: the studio and its words."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest

from studio.terms import terms_for


def studio(request: HttpRequest) -> dict[str, Any]:
    user = getattr(request, "user", None)
    mine = user.studio if user is not None and user.is_authenticated else None
    return {"studio": mine, "terms": terms_for(mine.terms if mine else "british"), "demo": settings.DEMO}
