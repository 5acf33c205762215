"""Laws of the bow that hold for any passage."""

from fractions import Fraction as F
from itertools import pairwise, product

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from repertoire.technique.bow_alternatives import possible_bowings
from repertoire.technique.bow_place import place_as_marked
from repertoire.technique.bow_planning import place_planned
from repertoire.technique.bowing import FindingKind, read_strokes
from repertoire.technique.line import Line
from repertoire.technique.marks import Kind, Mark, Marks
from tests.technique.lines import line

BARS = (
    "C4 q D4 q E4 q F4 q", "C4 h. D4 q", "C4 q. D4 e E4 h", "E4 e F4 e G4 e A4 e G4 q F4 q", "C4 w", "D4 h E4 h~",
    "E4 h F4 e3 G4 e3 A4 e3 G4 q", "C4+E4 h D4 s E4 s F4 s G4 s A4 q", "B3 g C4 h D4 h:1", "C4 q E4 h G4 q",
)  # fmt: skip
RESTS = ("C4 q r q D4 q r q", "r w", "r h D4 h", "C4 e r e D4 e r e E4 h")
QUIET = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@st.composite
def passages(
    draw: st.DrawFn, rests: bool = True, directions: bool = True, repeats: bool = True, most: int = 5
) -> tuple[Line, Marks]:
    """A passage of known bars with slurs, hooks, amounts, pizzicato, dynamics and bow signs."""
    pool = BARS + RESTS if rests else BARS
    texts = draw(st.lists(st.sampled_from(pool), min_size=1, max_size=most))
    repeat = repeats and draw(st.booleans())
    passage = line("4/4", "alto", ("|: " if repeat else "") + " | ".join(texts) + (" :|" if repeat else ""))
    addresses = [e.address for e in passage.events]
    found: set[Mark] = set()
    for start in draw(st.lists(st.integers(0, len(addresses) - 1), max_size=5)):
        end = min(start + draw(st.integers(1, 3)), len(addresses) - 1)
        if end > start:
            kind = draw(st.sampled_from([Kind.SLUR, Kind.SLUR, Kind.HOOK]))
            found.add(Mark(kind, addresses[start], "hooked" if kind is Kind.HOOK else "", addresses[end]))
    pick = st.sampled_from(addresses)
    for at in draw(st.lists(pick, max_size=3)):
        found.add(Mark(Kind.AMOUNT, at, draw(st.sampled_from(["1/8", "1/4", "1/2", "2/3", "1"]))))
    for at in draw(st.lists(pick, max_size=2)):
        found.add(Mark(Kind.DYNAMIC, at, draw(st.sampled_from(["p", "f", "sf"]))))
    if directions:
        for at in draw(st.lists(pick, max_size=5)):
            found.add(Mark(Kind.BOW, at, draw(st.sampled_from(["down", "up"]))))
        for at in draw(st.lists(pick, max_size=1)):
            found.add(Mark(Kind.RETAKE, at))
        if draw(st.booleans()):
            found.add(Mark(Kind.PIZZICATO, draw(pick), "pizz"))
            found.add(Mark(Kind.PIZZICATO, draw(pick), "arco"))
    return passage, tuple(sorted(found))


@QUIET
@given(passages())
def test_a_plan_stays_within_the_bow(given_passage: tuple[Line, Marks]):
    bowing = read_strokes(*given_passage)
    planned = place_planned(bowing)
    for stroke in planned.strokes:
        assert 0 <= stroke.start <= 1
        assert 0 <= stroke.end <= 1
        assert stroke.runs_out is None
        assert (stroke.end - stroke.start) * stroke.direction.sign >= 0
    for before, after, stroke in zip(planned.strokes, planned.strokes[1:], bowing.strokes[1:], strict=False):
        if not stroke.free and not stroke.retake:
            assert before.end == after.start


@QUIET
@given(passages())
def test_strokes_partition_the_sounding_arco_notes(given_passage: tuple[Line, Marks]):
    passage, given_marks = given_passage
    bowing = read_strokes(passage, given_marks)
    carried = [(e.address, m.pass_number) for s in bowing.strokes for m in s.moments for e in m.events]
    assert len(set(carried)) == len(carried)
    plucked, arco = set(), True
    signs = {m.at: m.value for m in given_marks if m.kind is Kind.PIZZICATO}
    for event in passage.events:
        arco = {"pizz": False, "arco": True}.get(signs.get(event.address, ""), arco)
        if not arco and event.pitches and not event.grace:
            plucked.add(event.address)
    sounding = {e.address for e in passage.events if e.pitches and not e.grace}
    assert {a for a, _ in carried if not passage.event(a).grace} == sounding - plucked


@QUIET
@given(passages())
def test_marks_are_honoured_or_reported(given_passage: tuple[Line, Marks]):
    passage, given_marks = given_passage
    bowing = read_strokes(passage, given_marks)
    reported = {f.address for f in bowing.findings if f.kind in (FindingKind.CONTRADICTION, FindingKind.IGNORED)}
    for mark in given_marks:
        if mark.kind is Kind.BOW:
            stroke = bowing.stroke_at(mark.at)
            honoured = stroke is not None and stroke.direction == mark.value
            on_grace = passage.event(mark.at).grace  # the main note's own sign comes first
            assert honoured or mark.at in reported or on_grace


@QUIET
@given(passages(rests=False, directions=False, repeats=False))
def test_a_mirrored_start_mirrors_the_even_reading(given_passage: tuple[Line, Marks]):
    passage, given_marks = given_passage
    first = passage.notes[0].address
    down = place_as_marked(read_strokes(passage, (*given_marks, Mark(Kind.BOW, first, "down"))))
    up = place_as_marked(read_strokes(passage, (*given_marks, Mark(Kind.BOW, first, "up"))))
    assert [(1 - n.start, 1 - n.end) for n in down.notes] == [(n.start, n.end) for n in up.notes]


@QUIET
@given(passages(rests=False), st.sampled_from([F(1, 2), F(2), F(3)]))
def test_the_tempo_scales_the_speeds_of_the_even_reading(given_passage: tuple[Line, Marks], factor: F):
    bowing = read_strokes(*given_passage, tempo=60)
    slow, other = place_as_marked(bowing), place_as_marked(bowing, tempo=60 * factor)
    for a, b in zip(slow.strokes, other.strokes, strict=True):
        assert (a.start, a.end) == (b.start, b.end)
        assert (a.speed is None) == (b.speed is None)
        if a.speed is not None:
            assert abs(b.speed - a.speed * float(factor)) < 1e-6 * max(a.speed, 1)


@QUIET
@given(st.lists(st.sampled_from(["", "down", "up"]), min_size=2, max_size=9))
def test_the_fewest_retakes_and_hooks_are_found(wanted: list[str]):
    passage = line("4/4", "alto", " | ".join(["C4 q D4 q E4 q F4 q"] * 3))
    addresses = [e.address for e in passage.events]
    given_marks = tuple(Mark(Kind.BOW, a, w) for a, w in zip(addresses, wanted, strict=False) if w)
    found = read_strokes(passage, given_marks)
    told = sum(1 for f in found.findings if f.kind is FindingKind.RETAKE_OR_HOOK)
    fewest = min(
        sum(1 for a, b in pairwise(way) if a == b)
        for way in product(("down", "up"), repeat=len(wanted))
        if all(w in ("", d) for w, d in zip(wanted, way, strict=True))
    )
    assert told == fewest


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(passages(most=3))
def test_possible_bowings_are_distinct_and_at_most_three(given_passage: tuple[Line, Marks]):
    passage, given_marks = given_passage
    found = possible_bowings(passage, given_marks)
    assert len(found) <= 3
    ways = [[(s.notes, s.direction, s.kind, s.retake) for s in p.bowing.strokes] for p in found]
    ways.append([(s.notes, s.direction, s.kind, s.retake) for s in read_strokes(passage, given_marks).strokes])
    assert all(a != b for i, a in enumerate(ways) for b in ways[i + 1 :])
    assert all(p.trade_off.endswith(".") for p in found)
