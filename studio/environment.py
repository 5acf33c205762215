"""Settings read from the environment, through three small readers that refuse nonsense."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

_TRUE, _FALSE = {"1", "true", "yes", "on"}, {"0", "false", "no", "off"}


def flag(name: str, default: bool) -> bool:
    """A yes/no variable. Raises ImproperlyConfigured for anything else."""
    raw = os.environ.get(name, "").strip().lower()
    if not raw:
        return default
    if raw in _TRUE | _FALSE:
        return raw in _TRUE
    raise ImproperlyConfigured(f"{name} is “{raw}”: write yes or no.")


def number(name: str, default: int, *, least: int = 0, most: int = 2**31) -> int:
    """A whole number within bounds. Raises ImproperlyConfigured."""
    raw = os.environ.get(name, "").strip()
    if not raw:
        return default
    if not raw.lstrip("-").isdigit() or not least <= int(raw) <= most:
        raise ImproperlyConfigured(f"{name} is “{raw}”: write a whole number from {least} to {most}.")
    return int(raw)


def words(name: str, default: str = "") -> list[str]:
    """A list separated by commas or spaces."""
    return os.environ.get(name, default).replace(",", " ").split()


def secret_key(folder: Path) -> str:
    """The secret key kept in the data folder, made on the first run, readable by its owner alone."""
    path = folder / "secret-key"
    try:
        key = path.read_text().strip()
    except FileNotFoundError:
        key = secrets.token_urlsafe(50)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w") as out:
            out.write(key + "\n")
    if len(key) < 40:
        raise ImproperlyConfigured(f"The secret key in {path} is too short: delete the file and a new one is made.")
    return key
