"""What can't be played in a draft, and the nearest possible written in its place.

Each offer is one undoable change: a mark of the left hand that can't be gives way to the
finger and string that can. A finger or string that is refused is offered the same way.
"""

from __future__ import annotations

from dataclasses import dataclass

from repertoire.left_hand import hand
from repertoire.players import Player
from repertoire.technique.holding import findings
from repertoire.technique.impossible import Finding, mend
from repertoire.technique.line import Line
from repertoire.technique.marks import Kind, Marks

HAND_KINDS = frozenset((Kind.FINGER, Kind.STRING, Kind.EXTENSION))


@dataclass(frozen=True, slots=True)
class Trouble:
    """One finding: its words, which it is, and what a button to mend it says ("" for none)."""

    which: str
    words: str
    offer: str


def troubles(line: Line, marks: Marks, player: Player, *, preset: str) -> tuple[Trouble, ...]:
    """What can't be played as marked, in the order of the music."""
    return tuple(Trouble(which, f.message, offer_of(f)) for which, f in _found(line, marks, player, preset).items())


def mended(line: Line, marks: Marks, player: Player, which: str, *, preset: str) -> Marks | None:
    """The marks with one trouble mended; None when it isn't there any more or can't be mended."""
    found = _found(line, marks, player, preset).get(which)
    return mend(line, marks, found) if found is not None and found.mendable else None


def nearest_to(line: Line, wished: Marks, address: str, player: Player, *, preset: str) -> tuple[str, Marks] | None:
    """For marks that were refused: what a button says that writes the nearest possible at a note,
    and the marks with it; None where nothing there can be mended."""
    for found in _found(line, wished, player, preset).values():
        if found.mendable and any(at in (address, f"{address}p1") for at, _ in found.stops):
            return offer_of(found), mend(line, wished, found)
    return None


def offer_of(found: Finding) -> str:
    """`Write finger 1 on IV, 1st position`, `Lift finger 3 before A4`; "" where nothing can be mended."""
    if found.lifted is not None:
        return found.nearest[:1].upper() + found.nearest[1:]
    return f"Write {found.nearest}" if found.stops else ""


def _found(line: Line, marks: Marks, player: Player, preset: str) -> dict[str, Finding]:
    fingering = hand(line, marks, player, preset=preset)
    if fingering is None:
        return {}
    return {f"{number}:{each.address}": each for number, each in enumerate(findings(fingering, marks), 1)}
