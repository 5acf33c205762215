"""`make scores DIR=folder`: import every part of every score in a folder and draw passages of each movement.

Prints one line a part, with what was left out and the seconds it took; ends with 1 if anything failed.
It is a tool for looking, not one of the tests: the folder is the caller's.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

from repertoire.notation.cutting import cut, marks_in
from repertoire.notation.engraving import engrave
from repertoire.notation.look import Look
from repertoire.notation.musicxml import FileError, list_contents, read_part

ENDINGS = {".musicxml", ".xml", ".mxl"}
BARS = 8  # in each passage drawn


def passages_of(line) -> list[tuple[int, int]]:
    """The first, the middle and the last bars of a movement, as written-bar indexes."""
    last = line.bars[-1].index
    starts = {1, max(1, last // 2 - BARS // 2), max(1, last - BARS + 1)}
    return [(start, min(last, start + BARS - 1)) for start in sorted(starts)]


def look_at(path: Path) -> int:
    """Import and draw one file; returns how many of its parts failed."""
    data, failed = path.read_bytes(), 0
    contents = list_contents(data, path.name)
    for part in contents.parts:
        begun = time.perf_counter()
        try:
            read = read_part(data, path.name, part.number)
            imported = time.perf_counter() - begun
            begun, drawn, warnings = time.perf_counter(), 0, []
            for movement in read.movements:
                for start, end in passages_of(movement.line):
                    line = cut(movement.line, start, None, end, None)
                    printed = marks_in(movement.printed, line)
                    picture = engrave(line, printed, Look(printed=printed))
                    drawn += 1
                    warnings += [f"bars {start}-{end}: {warning}" for warning in picture.warnings]
        except Exception as error:  # every failure is to be listed, whatever it is
            failed += 1
            print(f"  FAILED {part.number} {part.name}: {type(error).__name__}: {error}")
            continue
        bars = sum(len(movement.line.bars) for movement in read.movements)
        notes = sum(len(movement.line.notes) for movement in read.movements)
        print(
            f"  {part.number} {part.name}: {len(read.movements)} movements, {bars} bars, {notes} notes, read in "
            f"{imported:.2f} s; {drawn} passages drawn in {time.perf_counter() - begun:.2f} s; "
            f"left out: {sum(left.count for left in read.left_out)}"
        )
        for warning in warnings:
            print(f"    {warning}")
    return failed


def main() -> int:
    folder = Path(sys.argv[1] if len(sys.argv) > 1 and sys.argv[1] else "")
    if not (len(sys.argv) > 1 and sys.argv[1]) or not folder.is_dir():
        print("Say which folder: make scores DIR=path/to/scores")
        return 2
    files = sorted(path for path in folder.rglob("*") if path.suffix.lower() in ENDINGS)
    failed = 0
    for path in files:
        print(path.relative_to(folder))
        try:
            failed += look_at(path)
        except FileError as error:
            failed += 1
            print(f"  FAILED: {error}")
    print(f"{len(files)} files, {failed} failures")
    return 1 if failed or not files else 0


if __name__ == "__main__":
    sys.exit(main())
