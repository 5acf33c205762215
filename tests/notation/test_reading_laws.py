"""Laws that hold for every part read and every passage cut from it, tried on real parts."""

from fractions import Fraction as F
from functools import cache
from itertools import pairwise
from pathlib import Path

import music21
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from repertoire.notation.cutting import cut, entering, leaving, marks_in
from repertoire.notation.musicxml import list_contents, read_part
from repertoire.notation.storing import line_from_json, line_to_json
from repertoire.technique.line import LineError, parse_address
from repertoire.technique.marks import dump, load

CORPUS = Path(music21.__file__).parent / "corpus"
PARTS = [
    ("haydn/opus74no1/movement2.mxl", 3),
    ("mozart/k155/movement1.mxl", 1),
    ("mozart/k458/movement2.mxl", 3),
    ("beethoven/opus18no1/movement3.mxl", 2),
]


@cache
def movement(name, part):
    return read_part((CORPUS / name).read_bytes(), name, part).movements[0]


@pytest.mark.parametrize(("name", "part"), PARTS)
def test_bars_follow_each_other_and_events_lie_inside_in_order(name, part):
    line = movement(name, part).line
    onset = F(0)
    for place, bar in enumerate(line.bars, 1):
        assert (bar.index, bar.onset) == (place, onset)
        assert bar.clefs[0].onset == 0
        events = line.in_bar(place)
        assert [e.address for e in events] == [f"b{place}n{n}" for n in range(1, len(events) + 1)]
        assert [e.onset for e in events] == sorted(e.onset for e in events)
        assert all(e.onset >= 0 and e.end <= bar.length for e in events)
        assert all((e.duration == 0) == bool(e.grace) for e in events)
        onset += bar.length


@pytest.mark.parametrize(("name", "part"), PARTS)
def test_each_voice_fills_its_time_without_overlap(name, part):
    line = movement(name, part).line
    for bar in line.bars:
        for voice in {e.voice for e in line.in_bar(bar.index)}:
            events = [e for e in line.in_bar(bar.index) if e.voice == voice and not e.grace]
            assert all(a.end <= b.onset for a, b in pairwise(events))


@pytest.mark.parametrize(("name", "part"), PARTS)
def test_ties_have_both_their_notes(name, part):
    line = movement(name, part).line
    begun = {(line.time(e) + e.duration, p.midi) for e in line.notes
             for p, tied in zip(e.pitches, e.tied_to, strict=True) if tied}  # fmt: skip
    ended = {(line.time(e), p.midi) for e in line.notes
             for p, tied in zip(e.pitches, e.tied_from, strict=True) if tied}  # fmt: skip
    assert begun == ended


@pytest.mark.parametrize(("name", "part"), PARTS)
def test_written_values_have_the_length_of_their_notes(name, part):
    line = movement(name, part).line
    assert all(e.value.quarters == e.duration for e in line.events if not e.grace and not e.whole_bar)


@pytest.mark.parametrize(("name", "part"), PARTS)
def test_what_is_found_is_what_is_read(name, part):
    found = list_contents((CORPUS / name).read_bytes(), name).parts[part - 1]
    line = movement(name, part).line
    assert (found.bars, found.notes) == (len(line.bars), len(line.notes))
    assert found.range == (min(line.pitches, key=lambda p: p.midi), max(line.pitches, key=lambda p: p.midi))


@pytest.mark.parametrize(("name", "part"), PARTS)
def test_printed_marks_stand_on_notes_of_the_line_and_store(name, part):
    read = movement(name, part)
    assert read.printed
    assert all(m.at in read.line and (not m.to or m.to in read.line) for m in read.printed)
    assert load(dump(read.printed)) == read.printed
    assert line_from_json(line_to_json(read.line)) == read.line


@st.composite
def cuts(draw):
    read = movement(*draw(st.sampled_from(PARTS)))
    first = draw(st.integers(1, len(read.line.bars)))
    last = draw(st.integers(first, min(len(read.line.bars), first + 12)))
    places = [None, *(e.onset for e in read.line.in_bar(first))]
    start = draw(st.sampled_from(places))
    end = draw(st.sampled_from([None, *(e.onset for e in read.line.in_bar(last))]))
    beat = [None if p is None or p == read.line.bar(b).length else read.line.bar(b).beat(p)
            for p, b in ((start, first), (end, last))]  # fmt: skip
    return read, (first, beat[0], last, beat[1])


@given(cuts())
@settings(max_examples=150, deadline=None)
def test_a_cut_keeps_addresses_times_beats_and_signatures(case):
    read, bounds = case
    line = read.line
    try:
        found = cut(line, *bounds)
    except LineError as error:
        assert "before it begins" in str(error) or "No note begins" in str(error)  # noqa: PT017
        return
    whole = {e.address: e for e in line.events}
    for event in found.events:
        before = whole[event.address]
        assert event.pitches == before.pitches
        if not event.is_rest:
            assert found.time(event) == line.time(before)
            assert event.duration == before.duration
            assert found.where(event.address) == line.where(event.address)
    for bar in found.bars:
        before = line.bar(bar.index)
        assert (bar.number, bar.key, bar.meter) == (before.number, before.key, before.meter)
        assert all(0 <= e.onset <= bar.length and e.end <= bar.length for e in found.in_bar(bar.index))
        assert found.in_bar(bar.index)
    opening = found.bars[0]
    here = line.bar(opening.index)
    in_force = [c for c in here.clefs if here.onset + c.onset <= opening.onset]
    assert opening.clef == in_force[-1].name
    assert line_from_json(line_to_json(found)) == found


@given(cuts())
@settings(max_examples=150, deadline=None)
def test_marks_of_a_cut_touch_it_and_none_is_lost(case):
    read, bounds = case
    try:
        found = cut(read.line, *bounds)
    except LineError:
        return
    kept = marks_in(read.printed, found)
    first, last = (parse_address(found.events[i].address)[:2] for i in (0, -1))
    for mark in read.printed:
        start, end = parse_address(mark.at)[:2], parse_address(mark.to or mark.at)[:2]
        if mark in kept:
            assert start <= last
            assert end >= first
        elif mark.at in found or (mark.to and mark.to in found):
            raise AssertionError(f"{mark} was lost")
    inside = set(kept) - set(entering(kept, found)) - set(leaving(kept, found))
    assert all(m.at in found and (not m.to or m.to in found) for m in inside)
    assert marks_in(kept, found) == kept
