"""The tempo a passage is worked at, asked of whoever keeps it.

The repertoire knows no lessons, so the app that keeps the students' work says here how to find
the tempo. It counts where the part prints none.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from repertoire.models import Passage


@dataclass(frozen=True, slots=True)
class WorkingTempo:
    """A tempo in quarter notes a minute, and whose it is: a first name."""

    quarters: Fraction
    whose: str


Source = Callable[[Passage], WorkingTempo | None]
_sources: list[Source] = []


def register(source: Source) -> Source:
    """Add a source: it gives the tempo a passage's own teacher last set for a student, or None."""
    _sources.append(source)
    return source


def working_tempo(passage: Passage) -> WorkingTempo | None:
    """The tempo a passage is worked at; None where nobody has set one."""
    return next((found for source in _sources if (found := source(passage))), None)
