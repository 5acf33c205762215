"""What stands under the staves of a passage: nothing, the bow distribution, or the left hand.

The strips are those of comparison.py. The teacher's choice stays for her next pages.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from django.http import HttpRequest

from repertoire.bow_asked import asked
from repertoire.comparison import Version, strips, with_strip
from repertoire.excerpts import passage_line
from repertoire.models import Marking, Passage
from repertoire.notation.picture import Picture
from repertoire.players import Player
from repertoire.technique.marks import Marks, dump
from studio.access import teacher_of
from studio.terms import terms_for

NOTHING = "none"
KEPT_AS = "under"
PRINTED_AS = "under_printed"


@dataclass(frozen=True)
class Dressed:
    """A picture with the chosen strip under each system, and the strips in words."""

    picture: Picture
    words: tuple[str, ...]


def choices() -> tuple[tuple[str, str], ...]:
    """Key and name of everything that can stand under the staves."""
    return ((NOTHING, "nothing"), *strips())


def chosen(request: HttpRequest, field: str = KEPT_AS, *, unless: str = NOTHING) -> str:
    """What is asked for (in a `field` of the address), or was chosen before, or `unless`."""
    known = dict(choices())
    asked = request.GET.get(field, "")
    if asked and asked not in known:
        return NOTHING
    if asked and asked != request.session.get(KEPT_AS):
        request.session[KEPT_AS] = asked
    kept = str(request.session.get(KEPT_AS, unless))
    return kept if kept in known else unless


def printed_too(request: HttpRequest) -> bool:
    """Whether a page printed from the browser shows the strips; asked for together with them."""
    if KEPT_AS in request.GET or "show" in request.GET:
        wanted = "print" in request.GET
        if wanted != request.session.get(PRINTED_AS, False):
            request.session[PRINTED_AS] = wanted
    return bool(request.session.get(PRINTED_AS, False))


def version_on_desk(
    request: HttpRequest, passage: Passage, marks: Marks, instrument: str, player: Player | None = None
) -> Version:
    """Marks of a passage, kept or not, read like a version."""
    unkept = Marking(passage=passage, marks=dump(marks))
    terms = terms_for(teacher_of(request).studio.terms)
    return Version(unkept, passage_line(passage), instrument, terms, player, asked(request, passage))


def dress(picture: Picture, version: Version, under: str) -> Dressed:
    """A passage's picture with what was chosen under it."""
    if under == NOTHING:
        return Dressed(picture, ())
    done = [with_strip(version, system, under) for system in picture.systems]
    return Dressed(replace(picture, systems=tuple(s for s, _ in done)), tuple(w for _, w in done if w))
