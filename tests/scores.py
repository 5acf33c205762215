"""`make scores DIR=folder`: import every part of every score in a folder and draw every bar of each movement.

Prints one line a part, with what was left out and the seconds it took, and at the end how many printed bow marks
of the violin and viola parts agree with the direction inferred without them. Ends with 1 if anything failed.
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
from tests.bench.bow_marks import Agreement, bow_agreement

ENDINGS = {".musicxml", ".xml", ".mxl"}
BARS = 16  # in each passage drawn


def passages_of(line) -> list[tuple[int, int]]:
    """A movement from its first bar to its last, as written-bar indexes."""
    last = line.bars[-1].index
    return [(start, min(last, start + BARS - 1)) for start in range(line.bars[0].index, last + 1, BARS)]


def look_at(path: Path) -> tuple[int, Agreement]:
    """Import and draw one file; returns how many of its parts failed, and how its bow marks agree."""
    data, failed, bows = path.read_bytes(), 0, Agreement()
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
                if part.instrument in ("violin", "viola"):
                    bows += bow_agreement(movement.line, movement.printed)
        except Exception as error:  # every failure is to be listed, whatever it is
            failed += 1
            print(f"  FAILED {part.number} {part.name}: {type(error).__name__}: {error}")
            continue
        bars = sum(len(movement.line.bars) for movement in read.movements)
        notes = sum(len(movement.line.notes) for movement in read.movements)
        print(
            f"  {part.number} {part.name}: {len(read.movements)} movements, {bars} bars, {notes} notes, read in "
            f"{imported:.2f} s; {drawn} passages of {BARS} bars drawn and bows read in "
            f"{time.perf_counter() - begun:.1f} s; "
            f"left out: {sum(left.count for left in read.left_out)}"
        )
        for warning in warnings:
            print(f"    {warning}")
    return failed, bows


def tell(bows: Agreement) -> None:
    """The agreement of printed bow marks with what is inferred, and why the others don't agree."""
    if not bows.marks:
        print("No printed bow marks in violin or viola parts.")
        return
    print(
        f"{bows.marks} printed bow marks in violin and viola parts, each left out in turn: "
        f"{bows.inferred} agree with the direction inferred ({bows.inferred / bows.marks:.1%}), "
        f"{bows.alternating} with plain alternation from the bar's start ({bows.alternating / bows.marks:.1%})."
    )
    for reason, count in bows.misses.most_common():
        print(f"  {count} missed: {reason}")


def main() -> int:
    folder = Path(sys.argv[1] if len(sys.argv) > 1 and sys.argv[1] else "")
    if not (len(sys.argv) > 1 and sys.argv[1]) or not folder.is_dir():
        print("Say which folder: make scores DIR=path/to/scores")
        return 2
    files = sorted(path for path in folder.rglob("*") if path.suffix.lower() in ENDINGS)
    failed, bows = 0, Agreement()
    for path in files:
        print(path.relative_to(folder))
        try:
            wrong, found = look_at(path)
            failed, bows = failed + wrong, bows + found
        except FileError as error:
            failed += 1
            print(f"  FAILED: {error}")
    tell(bows)
    print(f"{len(files)} files, {failed} failures")
    return 1 if failed or not files else 0


if __name__ == "__main__":
    sys.exit(main())
