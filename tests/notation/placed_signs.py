"""The signs of a picture as they are placed, for tests of what stands where."""

from collections.abc import Callable, Sequence
from typing import Any

import pytest

from repertoire.notation import assembling
from repertoire.notation.engraving import Look, Picture, engrave, engrave_together
from repertoire.notation.ink import Box, Sign
from repertoire.technique.line import Line
from repertoire.technique.marks import Marks


def placed(line: Line, marks: Marks, look: Look | None = None) -> list[Sign]:
    """The signs of all systems after they were moved apart; each system counts its places anew."""
    return [sign for signs in placed_by_system(line, marks, look) for sign in signs]


def placed_by_system(line: Line, marks: Marks, look: Look | None = None) -> list[list[Sign]]:
    """The same, system by system."""
    return _placed(lambda: engrave(line, marks, look or Look()))


def placed_together(staves: Sequence[tuple[str, Line, Marks]], look: Look | None = None) -> list[Sign]:
    """Likewise of several markings under each other."""
    systems = _placed(lambda: engrave_together(staves, look or Look()))
    return [sign for signs in systems for sign in signs]


def _placed(draw: Callable[[], Picture]) -> list[list[Sign]]:
    systems: list[list[Sign]] = []
    real = assembling.place

    def place(signs: Sequence[Sign], *more: Any) -> None:
        real(signs, *more)
        systems.append([s for s in signs if s.shapes])

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(assembling, "place", place)
        picture = draw()
    # A picture may be drawn more than once until its systems are even: the last drawing counts.
    return systems[-len(picture.systems) :]


def near(box: Box, other: Box, white: float = 0.0) -> bool:
    """Whether two boxes touch, or come closer than `white` drawing units."""
    return (
        box[0] < other[2] + white
        and other[0] < box[2] + white
        and box[1] < other[3] + white
        and other[1] < box[3] + white
    )
