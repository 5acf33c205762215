"""The analysis of a part as numbers: complete, plain, and the same for every part."""

import json
from contextlib import suppress
from dataclasses import replace
from fractions import Fraction
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command
from music21 import corpus

from repertoire.notation.analysis import analyse_line, join_movements
from repertoire.notation.musicxml import read_part
from repertoire.technique.line import TempoMark, Value
from tests.technique.lines import line, marks

NOTE = {
    "movement", "address", "bar", "beat", "pitch", "midi", "onset", "duration", "seconds", "stroke", "direction",
    "place_start", "place_end", "planned_start", "planned_end", "speed_mm_s", "planned_speed_mm_s",
}  # fmt: skip
STROKE = {"movement", "number", "direction", "marked", "kind", "first", "last", "beats", "seconds", "speed_mm_s"}
FINDING = {"movement", "address", "bar", "beat", "kind", "message"}


def test_every_field_of_a_small_passage():
    passage = line("4/4", "alto", "G3 q | C4+E4 h. D4 q | E4 h F4 h")
    given = marks("down b2n1", "pizz b3n2", "fermata b3n1", "slur b2n1 b2n2")
    found = analyse_line(passage, given, movement=2, tempo=60)
    assert all(set(n) == NOTE for n in found["notes"])
    assert all(set(s) >= STROKE for s in found["strokes"])
    assert all(set(f) == FINDING for f in found["findings"])
    assert [n["address"] for n in found["notes"]] == ["b1n1", "b2n1p1", "b2n1p2", "b2n2", "b3n1", "b3n2"]
    chord = found["notes"][2]
    assert chord == {
        "movement": 2, "address": "b2n1p2", "bar": "1", "beat": 1.0, "pitch": "E4", "midi": 64, "onset": 1.0,
        "duration": 3.0, "seconds": 3.0, "stroke": 2, "direction": "down", "place_start": 0.75, "place_end": 1.0,
        "planned_start": chord["planned_start"], "planned_end": chord["planned_end"], "speed_mm_s": 160.0,
        "planned_speed_mm_s": chord["planned_speed_mm_s"],
    }  # fmt: skip
    upbeat = found["notes"][0]
    assert (upbeat["bar"], upbeat["beat"], upbeat["direction"], upbeat["place_start"]) == ("0", 4.0, "up", 1.0)
    held, plucked = found["notes"][4], found["notes"][5]
    assert held["seconds"] is None
    assert held["speed_mm_s"] is None
    assert {plucked[key] for key in NOTE if "stroke" in key or "place" in key or "planned" in key} == {None}
    assert plucked["direction"] is None
    assert found["strokes"][1]["beats"] == 4.0
    assert found["strokes"][1]["marked"] is True
    assert "fermata" in [f["kind"] for f in found["findings"]]
    json.dumps(found)


def test_the_left_hand_adds_its_fields():
    passage = line("2/4", "alto", "C4 h")
    hand = {
        "notes": {"b1n1": {"string": 3}}, "findings": [{"address": "b1n1", "kind": "left hand"}],
        "shifts": [{"from": "b1n1"}], "addresses": ["b1n1"],
    }  # fmt: skip
    found = analyse_line(passage, (), left_hand=lambda a, b: hand)
    assert found["notes"][0]["string"] == 3
    assert found["findings"][-1] == {"movement": 1, "address": "b1n1", "kind": "left hand"}
    assert found["shifts"] == [{"movement": 1, "from": "b1n1"}]
    assert "addresses" not in found
    two = join_movements([found, analyse_line(passage, (), movement=2)])
    assert [n["movement"] for n in two["notes"]] == [1, 2]


def test_tempo_marks_are_followed_and_a_given_tempo_counts_throughout():
    plain = line("4/4", "alto", "C4 w | D4 w")
    marked = [(TempoMark(Fraction(0), "", Value("quarter"), Fraction(n)),) for n in (60, 120)]
    passage = replace(plain, bars=tuple(replace(b, tempos=t) for b, t in zip(plain.bars, marked, strict=True)))
    found = analyse_line(passage, ())
    assert [n["seconds"] for n in found["notes"]] == [4.0, 2.0]
    assert [s["seconds"] for s in found["strokes"]] == [4.0, 2.0]
    assert [n["speed_mm_s"] for n in found["notes"]] == [160.0, 320.0]
    assert [n["seconds"] for n in analyse_line(passage, (), tempo=80)["notes"]] == [3.0, 3.0]


def quartets() -> list[Path]:
    """A few string quartets of music21's corpus."""
    return [Path(p) for p in corpus.getComposer("haydn") if str(p).endswith(".mxl")][:2]


@pytest.mark.parametrize("path", quartets(), ids=lambda p: p.stem)
def test_corpus_parts_are_complete(path: Path):
    for part in (1, 2, 3):
        read = read_part(path.read_bytes(), path.name, part)
        for movement in read.movements:
            found = analyse_line(movement.line, movement.printed, tempo=80)
            assert len(found["notes"]) == sum(len(e.pitches) for e in movement.line.notes if not e.cue)
            assert all(s["speed_mm_s"] >= 0 for s in found["strokes"] if s["speed_mm_s"] is not None)
            strokes = {s["number"] for s in found["strokes"]}
            assert {n["stroke"] for n in found["notes"]} <= strokes | {None}
            for note in found["notes"]:
                for key in ("place_start", "place_end", "planned_start", "planned_end"):
                    assert note[key] is None or 0 <= note[key] <= 1


def run(*options: str) -> tuple[str, str]:
    out, messages = StringIO(), StringIO()
    with suppress(SystemExit):
        call_command("analyse", str(quartets()[0]), *options, stdout=out, stderr=messages)
    return out.getvalue(), messages.getvalue().strip()


def test_the_command_keeps_json_and_messages_apart():
    text, messages = run("--part", "1", "--bars", "2-4", "--tempo", "100", "--json", "--alternatives", "0")
    assert messages == ""
    assert {n["bar"] for n in json.loads(text)["notes"]} == {"2", "3", "4"}
    text, messages = run("--part", "trombone")
    assert text == ""
    assert "no part “trombone”" in messages
    assert run("--part", "1", "--movement", "9") == ("", "There is no movement 9 in this part: it has 1.")
    assert run("--part", "1", "--tempo", "0")[1].startswith("The tempo is a number of quarter notes a minute")


def test_a_refusal_ends_with_status_1():
    with pytest.raises(SystemExit, match="1"):
        call_command("analyse", str(quartets()[0]), "--part", "trombone", stderr=StringIO())
