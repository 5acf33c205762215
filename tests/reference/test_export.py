"""Exported passages of forty violin and viola parts, against the schema and three readers.

Each passage is twelve bars from the middle of a movement in music21's corpus with its printed
marks and marks of every kind strewn over it. Its file must be valid by the MusicXML 4.0
schema [P: W3C, MusicXML 4.0, as carried by the package musicxml 1.6.3], give the same notes and
marks when read back, and open with as many noteheads in music21 and in Verovio
[P: music21 10.5 and Verovio 6.4, both independent readers of MusicXML].
"""

import re
import warnings
from dataclasses import replace
from functools import cache
from pathlib import Path

import music21
import pytest
import verovio

from repertoire.notation.cutting import cut, marks_in
from repertoire.notation.exporting import Heading, at_edges, pack, write_musicxml
from repertoire.notation.musicxml import list_contents, read_part
from repertoire.technique.line import event_address, parse_address
from repertoire.technique.marks import changes, put
from tests.notation.many_marks import strewn
from tests.notation.schema import faults

CORPUS = Path(music21.__file__).parent / "corpus"
MOVEMENTS = [
    *(f"haydn/opus1no1/movement{n}" for n in (1, 2, 3, 4, 5)),
    *(f"haydn/opus74no1/movement{n}" for n in (2, 3)),
    *(f"mozart/k155/movement{n}" for n in (1, 2, 3)),
    *(f"mozart/k156/movement{n}" for n in (1, 2, 3, 4)),
    "mozart/k458/movement2",
    *(f"mozart/k80/movement{n}" for n in (1, 2, 3, 4)),
    "beethoven/opus18no1/movement3",
]
PASSAGES = [(name, part) for name in MOVEMENTS for part in ("violin", "viola")]
HEADING = Heading(title="Passage", composer="N. N.", part="Part")


@cache
def passage(name, instrument):
    """Twelve bars with their printed marks and others of every kind."""
    data = (CORPUS / f"{name}.mxl").read_bytes()
    parts = list_contents(data, "file.mxl").parts
    number = next(p.number for p in parts if p.instrument == instrument)
    movement = read_part(data, "file.mxl", number).movements[0]
    start = len(movement.line.bars) // 3
    piece = cut(movement.line, start, None, start + 11, None)
    marks = marks_in(movement.printed, piece)
    for mark in strewn(piece, start, each=4):
        marks = put(marks, mark)
    piece, marks, _ = at_edges(piece, marks)
    return piece, marks, write_musicxml([(piece, marks)], replace(HEADING, instrument=instrument)).data


def renumbered(line):
    """Addresses as they are counted when the passage is a file of its own."""
    bars = {b.index: place for place, b in enumerate(line.bars, 1)}
    return {
        e.address: f"b{bars[e.bar]}n{n}" for bar in line.bars for n, e in enumerate(line.in_bar(bar.index), 1)
    }  # fmt: skip


def moved(address, names):
    member = parse_address(address)[2] if address else 0
    return (names[event_address(address)] + (f"p{member}" if member else "")) if address else ""


def test_there_are_forty():
    assert len(PASSAGES) == 40


@pytest.mark.parametrize(("name", "part"), PASSAGES)
def test_the_file_is_valid(name, part):
    assert faults(passage(name, part)[2]) == []


@pytest.mark.parametrize(("name", "part"), PASSAGES)
def test_the_same_notes_and_marks_are_read_back(name, part):
    line, marks, data = passage(name, part)
    names = renumbered(line)
    read = read_part(data, "passage.musicxml", 1).movements[0]
    wanted = [
        replace(e, address=names[e.address], bar=parse_address(names[e.address])[0], accidentals=())
        for e in line.events
    ]
    assert [replace(e, accidentals=()) for e in read.line.events] == wanted
    assert [(b.number, b.length, b.key, b.meter, b.missing, b.repeat_end) for b in read.line.bars] == [
        (b.number, b.length, b.key, b.meter, b.missing, b.repeat_end) for b in line.bars
    ]
    told = [replace(m, at=moved(m.at, names), to=moved(m.to, names)) for m in marks]
    assert len(told) > 60
    assert changes(told, read.printed) == ()


@pytest.mark.parametrize(("name", "part"), PASSAGES)
def test_music21_and_verovio_find_as_many_noteheads(name, part):
    line, _, data = passage(name, part)
    heads = len(list(line.pitches))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = music21.converter.parseData(data.decode(), format="musicxml")
    assert sum(len(n.pitches) for n in score.flatten().notes) == heads
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    assert toolkit.loadData(data.decode())
    assert len(re.findall(r"<note[ >]", toolkit.getMEI())) == heads


WHOLE = ["haydn/opus74no1/movement2", "mozart/k458/movement2", "beethoven/opus18no1/movement3"]


@pytest.mark.parametrize("name", WHOLE)
def test_a_whole_part_as_printed_is_read_back(name):
    data = (CORPUS / f"{name}.mxl").read_bytes()
    movement = read_part(data, "file.mxl", "Viola").movements[0]
    written = write_musicxml([(movement.line, movement.printed)], replace(HEADING, part="Viola")).data
    assert faults(written) == []
    read = read_part(written, "out.musicxml", 1).movements[0]
    assert [replace(e, accidentals=()) for e in read.line.events] == [
        replace(e, accidentals=()) for e in movement.line.events
    ]
    assert read.line.bars == movement.line.bars
    assert len(movement.printed) > 150
    assert read.printed == movement.printed


def test_a_compressed_file_opens_in_both(tmp_path):
    line, _, data = passage(*PASSAGES[1])
    heads = len(list(line.pitches))
    path = tmp_path / "passage.mxl"
    path.write_bytes(pack(data))
    score = music21.converter.parse(path, forceSource=True)
    assert sum(len(n.pitches) for n in score.flatten().notes) == heads
    toolkit = verovio.toolkit()
    assert toolkit.loadFile(str(path))
    assert len(re.findall(r"<note[ >]", toolkit.getMEI())) == heads
