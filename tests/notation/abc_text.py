"""ABC texts of tests under a header, and what is read of them."""

from __future__ import annotations

from repertoire.notation.abc import read_text

HEAD = "M:4/4\nL:1/8\nK:C clef=alto\n"


def read(music, head=HEAD):
    """The reading of music under a header; it must have notes and nothing to mend."""
    found = read_text(head + music)
    assert found.wrong == ()
    return found.part.movements[0]


def notes(music, head=HEAD):
    """Pitches of the events, "r" for a rest."""
    return ["+".join(p.name for p in e.pitches) or "r" for e in read(music, head).line.events]


def lengths(music, head=HEAD):
    return [e.duration for e in read(music, head).line.events]


def marks(music, head=HEAD):
    return set(read(music, head).printed)


def wrong(music, head=HEAD):
    """Line, column and bar of what has to be mended."""
    return [(r.line, r.column, r.bar) for r in read_text(head + music).wrong]


def said(music, head=HEAD):
    """What is said about a text that can be kept."""
    found = read_text(head + music)
    assert found.wrong == ()
    return [r.what for r in found.remarks]
