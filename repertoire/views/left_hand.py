"""The left hand on the pages of a passage: the choice under the staves, the lists, guide notes.

`beneath` gives a page what its partials need: `_under_staves.html` (the choice),
`_left_hand.html` (the lists). Guide notes are small pictures fetched when asked for.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Protocol

from django.http import Http404, HttpRequest, HttpResponse
from django.utils.http import urlencode
from django.views.decorators.http import require_safe

from repertoire import drafts
from repertoire.access import get_passage
from repertoire.bow_asked import panel
from repertoire.comparison import Version
from repertoire.excerpts import drawn, passage_line, printed_marks, studio_look
from repertoire.flags import flags_of
from repertoire.left_hand import HandSaid, hand, instrument_with_strings, preset_for, tell
from repertoire.markings import marks_of
from repertoire.models import Marking, Passage
from repertoire.notation.look import Look
from repertoire.notation.picture import Picture
from repertoire.players import Player, chosen_player, players_to_choose
from repertoire.technique.fingering import Fingering
from repertoire.technique.left_hand import semitone_slides, shifts
from repertoire.technique.line import Line
from repertoire.technique.marks import Marks
from repertoire.technique.shift_staves import Way, shift_excerpt, slide_excerpts
from repertoire.under_staves import choices, chosen, dress, printed_too, version_on_desk
from studio.access import teacher_of

GUIDE_STAFF_MM = 6.5
GUIDE_WIDTH_MM = 36.0
DRAFT = "draft"
WAYS: dict[str, Way] = {"starting": "starting", "arriving": "arriving"}
SLIDES = ("one-finger", "two-fingers")


def beneath(request: HttpRequest, passage: Passage, marks: Marks, picture: Picture, source: str = "") -> dict[str, Any]:
    """The picture with what was chosen under it, and the lists when that is the left hand.

    `source` names the marks in addresses: a marking's number, "draft", or "" for the print.
    """
    line = passage_line(passage)
    under = chosen(request)
    instrument = instrument_with_strings(passage, line)
    player = hand_shown(request, passage, under)
    version = version_on_desk(request, passage, marks, instrument, player)
    dressed = dress(picture, version, under)
    context: dict[str, Any] = {
        "picture": dressed.picture,
        "strip_words": dressed.words,
        "under": under,
        "under_choices": choices(),
        "print_strip": printed_too(request),
        "player": player,
        "bow": panel(request, passage, [("", version)]) if under == "bow" else None,
    }
    if player is not None:
        context["players"] = players_to_choose(request, player)
        fingering = version.fingering
        if fingering is not None:
            context["hand"] = tell(
                fingering, marks, player, flags_of(passage, player.student), a4=teacher_of(request).studio.a4_hz
            )
            context["guides"] = urlencode({"marking": source})
    return context


def hand_shown(request: HttpRequest, passage: Passage, under: str) -> Player | None:
    """The hand chosen, where the left hand is what stands under the staves."""
    instrument = instrument_with_strings(passage, passage_line(passage))
    return chosen_player(request, passage, instrument) if instrument and under == "hand" else None


@dataclass(frozen=True, slots=True)
class LetteredHand:
    """The lists of one compared version."""

    letter: str
    name: str
    hand: HandSaid
    guides: str
    source: int


def hands_of(
    request: HttpRequest, passage: Passage, lettered: Iterable[Lettered], player: Player | None
) -> list[LetteredHand]:
    """The lists of compared versions, those that can be fingered."""
    if player is None:
        return []
    flags = flags_of(passage, player.student)
    out = []
    for each in lettered:
        fingering = each.version.fingering
        if fingering is not None:
            said = tell(fingering, each.version.marks, player, flags, a4=teacher_of(request).studio.a4_hz)
            number = each.version.marking.pk
            query = urlencode({"marking": number})
            out.append(LetteredHand(each.letter, each.version.marking.name, said, query, number))
    return out


class Lettered(Protocol):
    """A version with the letter of its staff."""

    @property
    def letter(self) -> str: ...

    @property
    def version(self) -> Version: ...


@require_safe
def guide_notes(request: HttpRequest, passage_id: int, address: str, way: str) -> HttpResponse:
    """One shift alone in small notation (starting note, guide note, arriving note), or a half
    step with one finger and with two."""
    passage = get_passage(request, passage_id)
    if way not in (*WAYS, *SLIDES) or not passage.has_notation:
        raise Http404
    fingering = _fingering(request, passage)
    excerpt = _alone(fingering, address, way) if fingering else None
    if excerpt is None:
        raise Http404
    look = Look(
        **{
            **studio_look(request),
            "staff_mm": GUIDE_STAFF_MM,
            "width_mm": GUIDE_WIDTH_MM,
            "screen": False,
            "first_meter": False,
            "bar_numbers": False,
            "printed": excerpt[1],
        }
    )
    response = HttpResponse(drawn(*excerpt, look).systems[0].svg, content_type="image/svg+xml")
    response["Cache-Control"] = "private, no-cache"
    return response


def _alone(fingering: Fingering, address: str, way: str) -> tuple[Line, Marks] | None:
    """The shift that arrives at an address, or the slide, as an excerpt; None where there is none."""
    if way in WAYS:
        shift = next((s for s in shifts(fingering) if s.end.address == address), None)
        return shift_excerpt(fingering, shift, WAYS[way]) if shift else None
    slide = next((s for s in semitone_slides(fingering) if s.end == address), None)
    return slide_excerpts(fingering, slide)[SLIDES.index(way)] if slide else None


def _fingering(request: HttpRequest, passage: Passage) -> Fingering | None:
    """The completed hand of the marking named in the address, for the hand chosen."""
    line = passage_line(passage)
    instrument = instrument_with_strings(passage, line)
    if not instrument:
        return None
    player: Player = chosen_player(request, passage, instrument)
    return hand(line, _named_marks(request, passage), player, preset=preset_for(passage.movement))


def _named_marks(request: HttpRequest, passage: Passage) -> Marks:
    named = request.GET.get("marking", "")
    if named == DRAFT:
        return drafts.desk(passage, teacher_of(request)).marks
    if not named:
        return printed_marks(passage)
    if not (named.isascii() and named.isdecimal() and len(named) < 19):
        raise Http404
    found = Marking.objects.filter(passage=passage, pk=int(named)).first()
    if found is None:
        raise Http404
    return marks_of(found)
