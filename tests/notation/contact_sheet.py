"""A page of engraved passages to look at: `python -m tests.notation.contact_sheet FOLDER [FILE ...]`.

Writes `sheet.html` into FOLDER with passages cut from the files' parts (or, without files,
from the quartets music21 carries), each with many marks of every kind, on screen and for
print. Marks are scattered by a fixed rule: they try the engraver, not the player.
"""

from __future__ import annotations

import random
import sys
from pathlib import Path

from repertoire.notation.cutting import cut, marks_in
from repertoire.notation.engraving import Look, engrave
from repertoire.notation.musicxml import read_part
from repertoire.technique.line import Line
from repertoire.technique.marks import (
    ARTICULATIONS,
    BOW_PARTS,
    ORNAMENTS,
    STRINGS,
    Kind,
    Mark,
    MarkError,
    Marks,
    put,
)

K = Kind
_ONE = (  # kind, values, share of notes that get one
    (K.FINGER, ("0", "1", "2", "3", "4", "2-1"), 0.6),
    (K.BOW, ("down", "up"), 0.3),
    (K.EXTENSION, ("forward", "back"), 0.06),
    (K.STRING, STRINGS, 0.1),
    (K.ARTICULATION, ARTICULATIONS[:-1], 0.1),
    (K.ORNAMENT, ORNAMENTS, 0.05),
    (K.RETAKE, ("",), 0.04),
    (K.AMOUNT, ("1/2", "1", "1/3"), 0.05),
    (K.PART, BOW_PARTS, 0.05),
    (K.PIZZICATO, ("pizz", "arco", "left hand", "snap"), 0.04),
    (K.HARMONIC, ("natural", "artificial"), 0.04),
    (K.VIBRATO, ("vibrato", "none"), 0.03),
    (K.DYNAMIC, ("p", "f", "mf", "sfz"), 0.08),
    (K.HIGH_POINT, ("",), 0.03),
    (K.FERMATA, ("",), 0.02),
    (K.TEXT, ("dolce", "singing", "keep the elbow low"), 0.04),
)
_SPANS = (
    (K.STRING, ("II", "III")),
    (K.HAIRPIN, ("crescendo", "diminuendo")),
    (K.PHRASE, ("",)),
    (K.SLIDE, ("start", "arrival")),
    (K.HOLD, ("",)),
    (K.VIBRATO, ("none",)),
    (K.OCTAVE, ("8va",)),
    (K.HOOK, ("hooked", "portato")),
    (K.SLUR, ("dashed",)),
)
_MEMBER = (K.FINGER, K.STRING, K.EXTENSION, K.HARMONIC, K.SLIDE, K.HOLD)


def scattered(line: Line, printed: Marks, seed: int, density: float = 1.0) -> Marks:
    """The printed marks with many more over them, the same for the same seed."""
    chance = random.Random(seed)
    notes = [e for e in line.notes if not e.grace]
    marks = printed
    for event in notes:
        for kind, values, share in _ONE:
            if chance.random() < share * density:
                places = (
                    event.members if kind is K.FINGER else event.members[:1] if kind in _MEMBER else (event.address,)
                )
                for place in places:
                    marks = put(marks, Mark(kind, place, chance.choice(values)))
    for start in range(0, len(notes) - 7, 7):
        kind, values = chance.choice(_SPANS)
        first, last = notes[start], notes[start + (1 if kind is K.SLIDE else chance.randint(1, 5))]
        ends = (first.member(1), last.member(1)) if kind in _MEMBER else (first.address, last.address)
        try:
            marks = put(marks, Mark(kind, ends[0], chance.choice(values), ends[1]))
        except MarkError:
            continue
    return marks


def passages(files: list[Path]) -> list[tuple[str, Line, Marks]]:
    """Passages of 6 to 12 bars from the violin and viola parts of the files."""
    found = []
    for file in files:
        content = file.read_bytes()
        for part in (1, 2, 3):
            read = read_part(content, file.name, part)
            for movement in read.movements:
                bars = len(movement.line.bars)
                start = max(1, bars * (part + 1) // 6)
                line = cut(movement.line, start, None, min(bars, start + 5 + 2 * part), None)
                name = f"{file.stem}, {read.name}, {movement.title}, from bar {line.bars[0].number}"
                found.append((name, line, marks_in(movement.printed, line)))
    return found


def corpus_files() -> list[Path]:
    from music21 import corpus

    return [Path(corpus.getWork(name)) for name in ("haydn/opus74no1/movement1", "mozart/k458/movement1")]


def write(folder: Path, files: list[Path]) -> Path:
    """Write the page and return its path."""
    folder.mkdir(parents=True, exist_ok=True)
    sizes = [(8.0, 180.0), (6.5, 180.0), (11.0, 180.0), (8.0, 92.0)]
    blocks = []
    for number, (name, line, printed) in enumerate(passages(files)):
        staff, width = sizes[number % len(sizes)]
        marks = scattered(line, printed, number, (0.0, 0.5, 1.0)[number % 3])
        look = Look(
            staff_mm=staff, width_mm=width, printed=printed, screen=number % 2 == 0, prefix=f"p{number}-",
            string_signs="sul" if number % 5 == 4 else "roman",
        )  # fmt: skip
        picture = engrave(line, marks, look)
        blocks.append(f"<h2>{number + 1}. {name} ({staff} mm, {width} mm wide)</h2>{picture.svg()}")
    page = folder / "sheet.html"
    style = "body{background:#fff;margin:8mm;font-family:sans-serif}h2{font-size:12px}svg{display:block;margin:2mm 0}"
    page.write_text(f"<!doctype html><meta charset=utf-8><style>{style}</style>{''.join(blocks)}", encoding="utf-8")
    return page


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit("Name the folder to write to: python -m tests.notation.contact_sheet FOLDER [FILE ...]")
    print(write(Path(sys.argv[1]), [Path(f) for f in sys.argv[2:]] or corpus_files()))
