"""A throw-away demonstration studio for the benches and the read-me's pictures."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

PASSWORD = "down bow first"


@contextmanager
def throw_away_demonstration(**variables: str) -> Iterator[Path]:
    """Load the demonstration into a temporary folder and set Django up on it; once in a process."""
    with tempfile.TemporaryDirectory(prefix="passagework-demonstration-") as folder:
        for name in [name for name in os.environ if name.startswith("PASSAGEWORK_")]:
            del os.environ[name]
        os.environ |= {
            "PASSAGEWORK_DATA": folder,
            "PASSAGEWORK_DEMO": "yes",
            "DJANGO_SETTINGS_MODULE": "studio.settings",
            "DJANGO_ALLOW_ASYNC_UNSAFE": "1",
            **variables,
        }
        import django
        from django.core.management import call_command
        from django.db import connections

        django.setup()
        call_command("migrate", verbosity=0)
        call_command("load_demo", "--password", PASSWORD)
        try:
            yield Path(folder)
        finally:
            connections.close_all()
