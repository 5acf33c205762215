"""Settings read from the environment, through three small readers that refuse nonsense."""

from __future__ import annotations

import os
import re
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


def hosts(name: str, default: str) -> list[str]:
    """Host names or addresses the studio answers to, without scheme, port or path. Raises ImproperlyConfigured."""
    given = words(name, default) or words("", default)
    for host in given:
        bracketed = host.startswith("[") and host.endswith("]")
        if "/" in host or (":" in host and not bracketed):
            raise ImproperlyConfigured(f"{name} names “{host}”: write host names alone, like studio.home.arpa.")
    return given


def bind_address(name: str, default: str) -> str:
    """Where the server listens: HOST:PORT, [IPv6]:PORT or unix:PATH. Raises ImproperlyConfigured."""
    given = os.environ.get(name, "").strip() or default
    host, colon, port = given.rpartition(":")
    if given.startswith("unix:/") or (host and colon and port.isdigit() and 0 < int(port) < 65536):
        return given
    raise ImproperlyConfigured(f"{name} is “{given}”: write it like 127.0.0.1:8000 or unix:/run/passagework.sock.")


def site_address(name: str) -> str:
    """How students' addresses begin, `https://studio.home.arpa`; "" if not set. Raises ImproperlyConfigured."""
    given = os.environ.get(name, "").strip().rstrip("/")
    if given and not re.fullmatch(r"https?://[A-Za-z0-9.\-\[\]:]+", given):
        raise ImproperlyConfigured(f"{name} is “{given}”: write it like https://studio.home.arpa.")
    return given


def key_from(name: str) -> str:
    """A secret key given in a variable, "" without one. Raises ImproperlyConfigured for a short one."""
    key = os.environ.get(name, "").strip()
    if key and len(key) < 40:
        raise ImproperlyConfigured(f"{name} is too short: 40 characters at least, chosen by chance.")
    return key


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
