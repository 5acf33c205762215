"""Links that open a student's page at home without an account.

A token of 20 signs out of 31 (about 99 bits) is drawn by chance, shown or printed once, and
kept as its SHA-256 only: neither a copy of the database nor the teacher can show it again.
So each issued sheet gets a link of its own, made while it is printed. All links of a student
open the same page, the newest sheet; they expire and are revoked together.
"""

from __future__ import annotations

import hashlib
import re
import secrets
from datetime import datetime, timedelta
from typing import Final

import segno

from lessons.home_models import StudentLink

ALPHABET: Final = "abcdefghjkmnpqrstuvwxyz23456789"  # without i, l, o, 0 and 1, which look alike on paper
LENGTH: Final = 20
GROUP: Final = 5
DAYS: Final = 120
_LOOPBACK = re.compile(r"//(127\.|localhost|\[::1\])")


def draw_token() -> str:
    """A token by chance, not yet any student's."""
    return "".join(secrets.choice(ALPHABET) for _ in range(LENGTH))


def make_link(
    student_id: int, *, at: datetime, sheet_id: int | None = None, days: int = DAYS, token: str = ""
) -> tuple[str, StudentLink]:
    """A new link of a student; the token, drawn here if none is given, is returned and never shown again."""
    token = token or draw_token()
    link = StudentLink.objects.create(
        student_id=student_id, sheet_id=sheet_id, digest=digest(token), made=at, expires=at + timedelta(days=days)
    )
    return token, link


def find_link(written: str, *, at: datetime) -> StudentLink | None:
    """The open link of a token as it stands in an address; None for unknown, expired and revoked alike."""
    token = plain(written)
    if len(token) != LENGTH:
        return None
    return StudentLink.objects.open_at(at).filter(digest=digest(token)).first()


def revoke_links(student_id: int, *, at: datetime) -> int:
    """End all links of a student, those on paper too. Returns how many were open."""
    return StudentLink.objects.open_at(at).filter(student_id=student_id).update(revoked=at)


def has_link(student_id: int, *, at: datetime) -> bool:
    return StudentLink.objects.open_at(at).filter(student_id=student_id).exists()


def digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def plain(written: str) -> str:
    """The token somebody typed: without hyphens and spaces, in small letters."""
    return re.sub(r"[\s-]", "", written).lower()


def grouped(token: str) -> str:
    """As it is written in the address: four groups of five."""
    return "-".join(token[n : n + GROUP] for n in range(0, len(token), GROUP))


def address(base: str, token: str) -> str:
    """The whole address: `https://studio.home.arpa/home/abcde-…/`."""
    return f"{base.rstrip('/')}/home/{grouped(token)}/"


def can_reach(base: str) -> bool:
    """Whether another device could open an address that begins like this; not this computer's own."""
    return bool(base) and not _LOOPBACK.search(base)


def can_stay_offline(base: str) -> bool:
    """Whether browsers keep the page for use without network there: HTTPS, or this computer itself."""
    return base.startswith("https:") or bool(_LOOPBACK.search(base))


def qr_code(text: str) -> str:
    """A QR code as a data URI (SVG), without a margin: leave four modules of white around it."""
    return segno.make(text, error="m", micro=False).svg_data_uri(border=0)
