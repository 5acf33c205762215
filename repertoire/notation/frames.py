"""The frame around each note on screen: what takes touch and focus, and what a flag is drawn with.

A frame reaches beyond the staff and takes in the signs that stand on its note (fingers, bow
signs, dots, strings, ornaments), so that its edge never strikes them out; words above or
below it stay outside.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

from repertoire.technique.line import event_address

from .ink import Box, Sign

_BEYOND = 300.0  # past the staff and past the head
_ROUND = 65.0  # white round a sign on the note
_FROM_WORDS = 60.0  # the edge of a flag is half as thick
_SIDEWAYS = 160.0  # what a frame grows at most to the side for a wide sign
_ON_NOTES = frozenset(("fing", "breath", "trill", "turn", "mordent", "fermata"))
_OF_NOTES = frozenset(("artic", "accid"))  # told by the note they are part of


class SignsOnNotes:
    """Boxes of the signs that stand on the notes of one staff by event, and of words."""

    def __init__(self, signs: Sequence[Sign], at: Mapping[str, str], staff: int) -> None:
        self.boxes: dict[str, list[Box]] = defaultdict(list)
        self.words: list[Box] = []
        for sign in signs:
            if sign.staff != staff or not sign.shapes:
                continue
            own = sign.name in _ON_NOTES or sign.name in _OF_NOTES or (sign.name == "dir" and sign.kind == "string")
            if not own and sign.name not in ("dir", "dynam"):
                continue
            box = sign.box
            assert box is not None
            if not own:
                self.words.append(box)
            elif sign.name in _OF_NOTES:
                self.boxes[_event_of(sign.parent)].append(box)
            else:
                self.boxes[event_address(at.get(sign.key, "b0n0"))].append(box)

    def frame(
        self, event: str, head: tuple[float, float], staff: tuple[float, float], sides: tuple[float, float]
    ) -> Box:
        """The frame of a note whose head is at `head`, between `sides`."""
        y, (left, right) = head[1], sides
        top, low = min(staff[0], y) - _BEYOND, max(staff[1], y) + _BEYOND
        own = [b for b in self.boxes.get(event, ()) if b[0] < right and b[2] > left]
        highest, lowest = min([y, *(b[1] for b in own)]), max([y, *(b[3] for b in own)])
        top, low = min(top, highest - _ROUND), max(low, lowest + _ROUND)
        for words in self.words:
            if words[0] < right and words[2] > left:
                if words[3] <= highest:
                    top = max(top, _between(words[3], highest))
                elif words[1] >= lowest:
                    low = min(low, -_between(-words[1], -lowest))
        left = max(left - _SIDEWAYS, min([left, *(b[0] - _ROUND for b in own)]))
        right = min(right + _SIDEWAYS, max([right, *(b[2] + _ROUND for b in own)]))
        return left, top, right, low


def _between(words: float, signs: float) -> float:
    """A height that keeps clear of words above and of the signs below them, or halfway where they are close."""
    clear = words + _FROM_WORDS
    return clear if clear <= signs - _ROUND else (words + signs) / 2


def _event_of(sign: Sign | None) -> str:
    """The event of a note or chord, from the name it was given in the drawing."""
    return event_address((sign.ident if sign else "").rpartition("_")[2] or "b0n0")
