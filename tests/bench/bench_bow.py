"""How fast the bow is read, placed and planned. Run: python tests/bench/bench_bow.py

`figures()` gives one entry a measure with its limit. With `--corpus` every violin and viola
part of music21's corpus is analysed as well, which takes some minutes.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from repertoire.notation.analysis import analyse_line
from repertoire.notation.musicxml import FileError, list_contents, read_part
from repertoire.technique.bow_alternatives import possible_bowings
from repertoire.technique.bow_place import place_as_marked
from repertoire.technique.bow_planning import place_planned
from repertoire.technique.bowing import read_strokes
from repertoire.technique.line import Line
from repertoire.technique.marks import Kind, Mark, Marks
from tests.bench.figures import Figure, least, show
from tests.technique.lines import line

BARS = ("C4 q D4 e E4 e F4 h", "E4 e F4 e G4 e A4 e G4 q F4 q", "C4 q. D4 e E4 q r q", "G4 h. A4 q")


def passage(bars: int) -> tuple[Line, Marks]:
    """Some bars with slurs, dynamics and a few bow signs."""
    found = line("4/4", "alto", " | ".join(BARS[i % 4] for i in range(bars)))
    marks = [Mark(Kind.SLUR, f"b{i}n2", "", f"b{i}n3") for i in range(1, bars + 1, 4)]
    marks += [Mark(Kind.DYNAMIC, f"b{i}n1", "p" if i % 8 else "f") for i in range(1, bars + 1, 7)]
    marks += [Mark(Kind.BOW, f"b{i}n1", "down") for i in range(1, bars + 1, 9)]
    return found, tuple(marks)


def figures() -> list[Figure]:
    short, marks = passage(24)
    bowing = read_strokes(short, marks)
    count = len(bowing.strokes)
    long, long_marks = passage(230)
    notes = len(long.notes)
    eight, eight_marks = passage(8)
    return [
        Figure("100 strokes planned", least(lambda: place_planned(bowing)) * 1e5 / count, "ms", 30),
        Figure("100 strokes placed as marked", least(lambda: place_as_marked(bowing)) * 1e5 / count, "ms", 30),
        Figure("100 strokes read from their marks", least(lambda: read_strokes(short, marks)) * 1e5 / count, "ms", 30),
        Figure("1,000 notes analysed", least(lambda: analyse_line(long, long_marks), 3) * 1000 / notes, "s", 0.5),
        Figure("possible bowings of eight bars", least(lambda: possible_bowings(eight, eight_marks), 3) * 1e3, "ms"),
    ]


def corpus_parts() -> Iterator[tuple[Path, int]]:
    """Every violin and viola part of music21's corpus that is MusicXML."""
    from music21 import corpus

    for path in sorted(Path(p) for p in corpus.getCorePaths()):
        if path.suffix not in (".mxl", ".xml", ".musicxml"):
            continue
        try:
            contents = list_contents(path.read_bytes(), path.name)
        except FileError:
            continue
        for part in contents.parts:
            if part.instrument in ("violin", "viola") and not part.problem:
                yield path, part.number


def corpus_figures() -> list[Figure]:
    """The corpus analysed: parts, notes, failures, and seconds for 1,000 notes (reading left out)."""
    parts = notes = failures = 0
    spent = 0.0
    for path, number in corpus_parts():
        try:
            read = read_part(path.read_bytes(), path.name, number)
        except FileError as error:
            print(f"{path.name}, part {number}: {error}", file=sys.stderr)
            continue
        parts += 1
        for movement in read.movements:
            start = time.process_time()
            try:
                found = analyse_line(movement.line, movement.printed)
            except Exception as error:  # every failure is counted and named
                failures += 1
                print(f"{path.name}, part {number}, movement {movement.number}: {error!r}", file=sys.stderr)
                continue
            spent += time.process_time() - start
            notes += len(found["notes"])
    return [
        Figure("violin and viola parts of the corpus", parts, "parts"),
        Figure("their notes", notes, "notes"),
        Figure("movements that failed", failures, "", 0),
        Figure("1,000 notes of the corpus analysed", spent * 1000 / max(notes, 1), "s", 0.5),
    ]


def main() -> int:
    found = figures() + (corpus_figures() if "--corpus" in sys.argv else [])
    show(found)
    return int(any(figure.missed for figure in found))


if __name__ == "__main__":
    sys.exit(main())
