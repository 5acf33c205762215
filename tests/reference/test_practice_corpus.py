"""Every kind of practice stave on forty passages of the viola and violin parts music21 carries.

[P: music21 10.5's corpus] Haydn, Mozart, Beethoven and Schumann quartets; four bars from ten
places of four parts. No stave may fail but by saying why; the bars of each add up, right-hand
staves hold open strings only, stages last exactly as long, and slow staves exactly twice as long.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import music21
import pytest

from repertoire.notation.cutting import cut, marks_in
from repertoire.notation.engraving import Look, engrave
from repertoire.notation.musicxml import read_part
from repertoire.technique import recipes
from repertoire.technique.fingering import complete
from repertoire.technique.marks import Kind, Mark
from repertoire.technique.note_spans import inside
from repertoire.technique.practice_offers import offers
from repertoire.technique.practice_staves import Stave, StaveError
from repertoire.technique.rhythms import PATTERNS
from repertoire.technique.strings import open_strings
from tests.technique.practice_law import assert_whole

CORPUS = Path(music21.__file__).parent / "corpus"
PARTS = [
    ("haydn/opus74no1/movement1.mxl", "Viola", "viola"),
    ("beethoven/opus18no1/movement1.mxl", "Viola", "viola"),
    ("schumann_robert/opus41no1/movement2.mxl", "Viola", "viola"),
    ("mozart/k458/movement1.mxl", "1st Violin", "violin"),
]
PLACES = tuple(range(1, 77, 8))
BARS = 4
NOTHING_SAID = {"as marked", "slow", "right hand", "pizzicato"}  # kinds that every passage gives ground for


@cache
def part(path: str, name: str):
    return read_part((CORPUS / path).read_bytes(), Path(path).name, name).movements[0]


def passages():
    return [(path, name, instrument, place) for path, name, instrument in PARTS for place in PLACES]


def plain_recipes(found):
    """Each kind with each of its choices, and every stave the passage is offered."""
    out = [(kind, {}) for kind, told in recipes.KINDS.items() if "at" not in told.takes]
    out += [("rhythm", {"pattern": name}) for name in PATTERNS]
    out += [("trill", {"start": "main"}), ("trill", {"close": True, "count": 6}), ("accents", {"size": 3, "place": 3})]
    out += [("slow", {"slurs": "beat"}), ("slow", {"slurs": "as marked"}), ("shape", {"shape": "echo"})]
    out += [(kind, recipes.suited(kind, offer.given)) for offer in found for kind in offer.kinds]
    out += [("shift", {**offer.given, "way": "arriving"}) for offer in found if offer.kind == "shift"]
    return out


def made_or_none(kind, line, marks, fingering, given):
    """The stave, or None where the passage gives no ground for it and says why."""
    try:
        return recipes.make(kind, line, marks, fingering, given)
    except StaveError as error:
        return None if str(error) else pytest.fail(f"{kind} failed without a word")


@cache
def staves(path, name, instrument, place):
    """The passage and everything that could be made from it: (line, [(kind, stave), …])."""
    movement = part(path, name)
    line = cut(movement.line, place, None, place + BARS - 1, None)
    if not line.notes:
        line = cut(movement.line, place, None, place + BARS + 5, None)
    # A few ornaments are written in, since these parts print none or few.
    single = [e for e in line.notes if len(e.pitches) == 1 and not e.grace and e.duration >= 1][:3]
    written = tuple(
        Mark(Kind.ORNAMENT, e.address, kind) for e, kind in zip(single, ("turn", "trill", "mordent"), strict=False)
    )
    marks = tuple(sorted({*inside(marks_in(movement.printed, line), line), *written}))
    fingering = complete(line, marks, instrument)
    made: list[tuple[str, Stave]] = []
    for kind, given in plain_recipes(offers(line, marks, fingering)):
        stave = made_or_none(kind, line, marks, fingering, given)
        if stave is None:
            assert kind not in NOTHING_SAID, f"no stave “{kind}”"
            continue
        made.append((kind, stave))
    return line, made


@pytest.mark.xdist_group("practice corpus")
@pytest.mark.parametrize(("path", "name", "instrument", "place"), passages())
def test_every_stave_holds_its_laws(path, name, instrument, place):
    line, made = staves(path, name, instrument, place)
    assert line.notes, "a passage of the test is empty"
    length = sum(bar.length for bar in line.bars)
    strings = set(open_strings(instrument))
    for kind, stave in made:
        assert_whole(stave.line, stave.marks)
        assert stave.words
        if kind in ("as marked", "bare", "turn", "trill", "mordent", "rhythm", "accents", "shape", "right hand"):
            assert sum(bar.length for bar in stave.line.bars) == length
        if kind == "slow":
            assert sum(bar.length for bar in stave.line.bars) == 2 * length
            assert [bar.number for bar in stave.line.bars] == [bar.number for bar in line.bars]
        if kind == "right hand":
            assert set(stave.line.pitches) <= strings
    # One of the staves is engraved, another one for each passage.
    kind, stave = made[(PLACES.index(place) * 7 + PARTS.index((path, name, instrument)) * 3) % len(made)]
    picture = engrave(stave.line, stave.marks, Look(width_mm=180, screen=False))
    assert picture.systems
    assert not picture.warnings, f"{kind}: {picture.warnings}"


@pytest.mark.xdist_group("practice corpus")
def test_every_kind_was_made_somewhere():
    found = {kind for passage in passages() for kind, _ in staves(*passage)[1]}
    assert found == set(recipes.KINDS)
