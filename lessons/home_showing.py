"""The student's page as HTML: from the copy made at issue, and the ticks that came back, to one document.

Everything shown is in what is given here; nothing else is asked for. The same page is also
written as one file that needs no studio: styles, script and drawings inside it, under a
content security policy of its own.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Iterable, Mapping
from datetime import timedelta
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from django.conf import settings
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.utils import timezone

from lessons.home_models import HomePage, HomeQuestion, Tick

STYLES: Final = ("css/base.css", "css/engraving.css", "css/home.css")
# In the order in which each needs only those before it.
SCRIPTS: Final = tuple(f"js/home/{name}.js" for name in ("timing", "sound", "player", "keep", "days", "music", "page"))
WORKER: Final = "js/home/worker.js"
_IMPORT = re.compile(r"^import \{[^}]*\} from \"\./[a-z]+\.js\";\n", re.MULTILINE)
_EXPORT = re.compile(r"^export (?=(?:async )?(?:function|class|const) )", re.MULTILINE)


def page_html(
    page: HomePage, *, address: str, ticks: Iterable[Tick] = (), questions: Iterable[HomeQuestion] = ()
) -> str:
    """The page under its address (a path)."""
    context = _context(page, address, ticks, questions)
    return render_to_string(
        "lessons/home.html",
        context
        | {"styles": [static(name) for name in STYLES], "script": static(SCRIPTS[-1]), "icon": static("icon.svg")},
    )


def page_file(page: HomePage) -> str:
    """The page as one document that works without studio or network; what is ticked there stays there."""
    style = "\n".join(_source(name) for name in STYLES)
    script = joined_script()
    policy = (
        f"default-src 'none'; img-src data:; style-src 'unsafe-inline'; "
        f"script-src 'sha256-{base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()}'; "
        "base-uri 'none'; form-action 'none'"
    )
    context = _context(page, "", (), ())
    return render_to_string("lessons/home.html", context | {"policy": policy, "style": style, "inline": script})


def joined_script() -> str:
    """The page's modules as one module: imports dropped, since what they name stands above."""
    return "\n" + "\n".join(_EXPORT.sub("", _IMPORT.sub("", _source(name))) for name in SCRIPTS)


def worker_source(page: HomePage | None, address: str) -> str:
    """The service worker of one link, with what it keeps and a version that changes with any of it."""
    files = [address, *(static(name) for name in (*STYLES, *SCRIPTS, "icon.svg"))]
    version = f"{page.pk if page else 0}-{page.made.timestamp() if page else 0:.0f}-{_static_version()}"
    head = f"const VERSION = {json.dumps(version)};\nconst FILES = {json.dumps(files)};\n"
    return head + _source(WORKER)


def _context(page: HomePage, address: str, ticks: Iterable[Tick], questions: Iterable[HomeQuestion]) -> dict[str, Any]:
    content, ticks = page.content, list(ticks)
    music = {
        each["key"]: {name: each[name] for name in ("schedule", "tempo", "start", "cue") if name in each}
        for item in content["items"]
        for each in [item["music"], *(step["music"] for step in item["steps"])]
        if each
    }
    told = {
        "address": address,
        "key": hashlib.sha256(f"page of {page.student_id}".encode()).hexdigest()[:16],
        "a4": content["a4"],
        "days": content["days"],
        "ticks": _standing(ticks),
        "music": music,
    }
    done = {(tick.item, tick.day.isoformat()) for tick in ticks if told["ticks"].get(_key(tick), {}).get("done")}
    latest = (timezone.now().date() + timedelta(days=1)).isoformat()  # somewhere it is tomorrow already
    return {
        "page": content,
        "items": [
            item
            | {
                "days": [
                    day | {"done": (item["id"], day["iso"]) in done, "later": day["iso"] > latest}
                    for day in content["days"]
                ]
            }
            for item in content["items"]
        ],
        "told": told,
        "address": address,
        "questions": list(questions),
        "minutes": range(5, 65, 5),
    }


def _key(tick: Tick) -> str:
    return f"{tick.item} {tick.day.isoformat()}"


def _standing(ticks: Iterable[Tick]) -> dict[str, Mapping[str, Any]]:
    """The last touch on each box, by `item day`; ticks come in the order they were made."""
    return {
        _key(tick): {"done": tick.done, "minutes": tick.minutes or 0, "made": tick.made.isoformat()} for tick in ticks
    }


def _source(name: str) -> str:
    return (Path(settings.BASE_DIR) / "static" / name).read_text(encoding="utf-8")


@lru_cache(maxsize=1)
def _static_version() -> str:
    files = (*STYLES, *SCRIPTS, WORKER)
    return hashlib.sha256("".join(_source(name) for name in files).encode()).hexdigest()[:12]
