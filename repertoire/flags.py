"""Flags a teacher set on notes for one student, asked of whoever keeps them.

The repertoire knows no lessons, so the app that keeps the flags says here how to find them.
"""

from __future__ import annotations

from collections.abc import Callable

from repertoire.models import Passage
from studio.models import Student

Source = Callable[[Passage, Student], tuple[tuple[str, str], ...]]
_sources: list[Source] = []


def register(source: Source) -> Source:
    """Add a source: it gives (address, words) of a student's open flags in a passage."""
    _sources.append(source)
    return source


def flags_of(passage: Passage, student: Student | None) -> tuple[tuple[str, str], ...]:
    """A student's open flags in a passage, in the order of the sources."""
    if student is None:
        return ()
    return tuple(flag for source in _sources for flag in source(passage, student))
