"""What holds for every practice stave: bars add up, addresses name notes, marks stand on them."""

from __future__ import annotations

from fractions import Fraction

from repertoire.technique.line import Line
from repertoire.technique.marks import Mark, Marks


def assert_whole(line: Line, marks: Marks) -> None:
    """Every voice of every bar runs without overlap, one of them fills the bar, and the bars follow
    each other; addresses count from 1 in each bar; marks stand on notes that are there."""
    onset = line.bars[0].onset
    for bar in line.bars:
        assert bar.onset == onset, f"bar {bar.number} begins at {bar.onset}, not {onset}"
        onset += bar.length
        here = line.in_bar(bar.index)
        assert [e.address for e in here] == [f"b{bar.index}n{n}" for n in range(1, len(here) + 1)]
        ends: dict[int, Fraction] = {}
        for event in here:
            if event.grace:
                assert event.duration == 0
                continue
            if not event.whole_bar and not event.tremolo_pair:
                assert event.value.quarters == event.duration, f"{event.address}: {event.value} for {event.duration}"
            assert event.onset >= ends.get(event.voice, Fraction(0)), f"{event.address} overlaps"
            ends[event.voice] = event.end
        if ends:
            assert max(ends.values()) == bar.length, f"bar {bar.number} holds {max(ends.values())} of {bar.length}"
    for mark in marks:
        check_mark(line, mark)


def check_mark(line: Line, mark: Mark) -> None:
    assert mark.at in line, f"{mark} stands on no note"
    if mark.to:
        assert mark.to in line, f"{mark} ends on no note"
        assert line.order(mark.at) < line.order(mark.to), f"{mark} runs backwards"


def gaps(line: Line) -> dict[int, Fraction]:
    """How much of each bar is silent without a rest, by bar index (multi-voice bars left out)."""
    out = {}
    for bar in line.bars:
        here = [e for e in line.in_bar(bar.index) if not e.grace]
        if len({e.voice for e in here}) == 1:
            out[bar.index] = bar.length - sum((e.duration for e in here), Fraction(0))
    return out
