"""On the marking page: the nearest possible in place of what can't be played."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest

from repertoire import drafts, mending
from repertoire.drafts import ChangedElsewhere, Desk, Refused
from repertoire.left_hand import instrument_with_strings, preset_for
from repertoire.marking_tools import read_wish
from repertoire.models import Passage
from repertoire.players import Player, chosen_player
from repertoire.technique.line import event_address
from repertoire.technique.marks import MarkError, Marks
from repertoire.technique.writing import Selection, write
from studio.access import teacher_of

MEND, NEAREST = "mend:", "nearest:"


def asks(what: str) -> bool:
    """Whether a button of the page asks for the nearest possible."""
    return what.startswith((MEND, NEAREST))


def in_the_way(request: HttpRequest, desk: Desk, player: Player | None) -> tuple[mending.Trouble, ...]:
    """What can't be played in the draft as it stands. `player` is the hand chosen, if it is known."""
    player = player or _player(request, desk)
    return mending.troubles(desk.line, desk.marks, player, preset=_preset(desk)) if player else ()


def mend(request: HttpRequest, passage: Passage) -> Desk:
    """One change to the draft: a trouble mended, or what was refused written as near as possible.
    Raises Refused, ChangedElsewhere, MarkError."""
    what, state = request.POST.get("what", ""), request.POST.get("state", "")
    desk = drafts.desk(passage, teacher_of(request), request.POST.get("from", ""))
    if desk.state != state:
        raise ChangedElsewhere
    if what.startswith(MEND):
        player = _player(request, desk)
        which = what.removeprefix(MEND)
        after = mending.mended(desk.line, desk.marks, player, which, preset=_preset(desk)) if player else None
    else:
        address, _, wished = what.removeprefix(NEAREST).partition(":")
        found = _nearest(request, desk, address, wished)
        after = found[1] if found else None
    if after is None:
        raise Refused("That is not in the way any more.")
    return drafts.change(
        passage,
        teacher_of(request),
        state=state,
        wanted=request.POST.get("from", ""),
        words="the nearest possible",
        make=lambda *_: after,
    )


def offer(request: HttpRequest, passage: Passage) -> dict[str, Any] | None:
    """For a finger or string that was refused on one note: a button with the nearest possible."""
    if not passage.has_notation:
        return None
    posted = request.POST
    first, last, what = posted.get("first", ""), posted.get("last", ""), posted.get("what", "")
    desk = drafts.desk(passage, teacher_of(request), posted.get("from", ""))
    if (last and event_address(last) != event_address(first)) or desk.state != posted.get("state", ""):
        return None
    try:
        found = _nearest(request, desk, first, what)
    except MarkError:
        return None
    return {"words": found[0], "what": f"{NEAREST}{first}:{what}"} if found else None


def _nearest(request: HttpRequest, desk: Desk, address: str, what: str) -> tuple[str, Marks] | None:
    """What the button says and the marks it leads to. Raises MarkError."""
    player = _player(request, desk)
    wish = read_wish(what, {k: str(v) for k, v in request.POST.items()})
    if player is None or wish.kind not in mending.HAND_KINDS:
        return None
    wished = write(desk.line, desk.marks, Selection.of(desk.line, address), wish.kind, wish.value, wish.options)
    return mending.nearest_to(desk.line, wished, address, player, preset=_preset(desk))


def _player(request: HttpRequest, desk: Desk) -> Player | None:
    instrument = instrument_with_strings(desk.passage, desk.line)
    return chosen_player(request, desk.passage, instrument) if instrument else None


def _preset(desk: Desk) -> str:
    return preset_for(desk.passage.movement)
