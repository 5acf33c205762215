"""Some bars of a passage fingered within the hand around them.

What stands before and after the bars asked for stays as it is, marked or completed: the
notes near the edges are pinned to it, so that a fingering of the bars enters from the hand
before and leaves to the hand after.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from .fingering import Fingering, Placement
from .left_hand import Shift, shifts
from .moments import Moment, Wish
from .strings import position_label

_AROUND: Final = 12  # moments on either side that can matter
_REACHES: Final = {"": None, "forward": 1, "back": -1}


@dataclass(frozen=True)
class Join:
    """One edge of some bars: the note on the far side, and the shift across the edge if there is
    one. `entering` is the edge at their start."""

    note: Placement
    where: str
    shift: Shift | None
    entering: bool

    @property
    def sentence(self) -> str:
        note = self.note
        how = f"with {note.finger} on {note.string_name}" if note.finger else f"on the open {note.string_name}"
        place = f"{note.pitch.label} {how}, {position_label(note.position)} ({self.where})"
        if self.shift is None:
            does = "the hand stays"
        else:
            count = abs(self.shift.positions)
            way = "up" if self.shift.positions > 0 else "down"
            cover = f", over the {self.shift.hidden}" if self.shift.hidden else ""
            does = f"the hand moves {way} {count} position{'s' if count > 1 else ''}{cover}"
        return f"{'Comes from' if self.entering else 'Goes on to'} {place}: {does}."


def within(moments: tuple[Moment, ...], around: Fingering, inside: frozenset[str]) -> tuple[Moment, ...]:
    """The moments of some bars (`inside`, addresses of their notes) with those near them, these
    pinned to where `around` has them. `around` is a fingering of the same passage."""
    places = [n for n, moment in enumerate(moments) if not inside.isdisjoint(_new(moment))]
    if not places:
        return ()
    first, last = max(0, places[0] - _AROUND), places[-1] + _AROUND + 1
    found = around.by_address
    return tuple(_pinned(moment, found, inside) for moment in moments[first:last])


def _new(moment: Moment) -> tuple[str, ...]:
    return tuple(a for a in moment.addresses if a not in moment.sustained)


def _pinned(moment: Moment, found: dict[str, Placement], inside: frozenset[str]) -> Moment:
    if moment.second_half or any(wish.leaves is not None for wish in moment.wishes):
        return moment  # both fingers are written
    wishes = []
    for address, wish in zip(moment.addresses, moment.wishes, strict=True):
        place = None if address in inside else found.get(address)
        if place is not None:
            finger = place.leaves if place.leaves is not None else place.finger
            wish = Wish(finger, place.string, _REACHES[place.extension], wish.harmonic)
        wishes.append(wish)
    return replace(moment, wishes=tuple(wishes))


def part_of(fingering: Fingering, inside: frozenset[str]) -> Fingering:
    """The fingering of some notes alone."""
    return replace(
        fingering,
        placements=tuple(p for p in fingering.placements if p.address in inside),
        findings=tuple(f for f in fingering.findings if f.address in inside),
    )


def joins(fingering: Fingering, inside: frozenset[str]) -> tuple[Join, ...]:
    """How the hand comes into some bars and goes on from them, where there is a note before or after."""
    places = [n for n, p in enumerate(fingering.placements) if p.address in inside]
    if not places:
        return ()
    moved = shifts(fingering)
    out = []
    before = fingering.placements[: places[0]]
    if before:
        across = next((s for s in moved if s.end.address in inside and s.start.address not in inside), None)
        out.append(Join(before[-1], fingering.where(before[-1].address), across, True))
    after = fingering.placements[places[-1] + 1 :]
    if after:
        across = next((s for s in moved if s.start.address in inside and s.end.address not in inside), None)
        out.append(Join(after[0], fingering.where(after[0].address), across, False))
    return tuple(out)
