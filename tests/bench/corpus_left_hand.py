"""Every violin and viola part of music21's corpus, completed. Run: python tests/bench/corpus_left_hand.py

Not part of the quick tests: it reads some hundreds of files. Prints how many parts and notes
were completed, the notes that were left out with reasons counted, and the time a note;
ends with status 1 when a part raises an error.
"""

import sys
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from music21 import corpus

from repertoire.notation.musicxml import FileError, list_contents, read_part
from repertoire.technique.fingering import complete


def main() -> int:
    parts = notes = left_out = errors = 0
    seconds = 0.0
    reasons: Counter[str] = Counter()
    for path in sorted({Path(p) for p in corpus.getCorePaths()}):
        if path.suffix not in (".mxl", ".xml", ".musicxml"):
            continue
        content = path.read_bytes()
        try:
            found = list_contents(content, path.name).parts
        except FileError:
            continue
        for number, part in enumerate(found, 1):
            name = f"{part.name} {part.instrument}".lower()
            instrument = "viola" if "viola" in name and "gamba" not in name else "violin" if "violin" in name else ""
            if not instrument:
                continue
            try:
                for movement in read_part(content, path.name, number).movements:
                    start = time.perf_counter()
                    fingering = complete(movement.line, movement.printed, instrument)
                    seconds += time.perf_counter() - start
                    notes += len(fingering.placements)
                    left_out += len(fingering.findings)
                    reasons.update(" ".join(f.reason.split()[1:8]) for f in fingering.findings)
                parts += 1
            except FileError as error:
                reasons[f"not read: {error}"[:60]] += 1
            except Exception as error:
                errors += 1
                print(f"{path.name}, {part.name}: {type(error).__name__}: {error}")
    pace = seconds / max(1, notes) * 1e6
    print(f"{parts} parts, {notes} notes, {left_out} findings, {errors} errors, {pace:.0f} µs a note")
    for reason, count in reasons.most_common(8):
        print(f"  {count} × {reason}")
    return int(errors > 0)


if __name__ == "__main__":
    raise SystemExit(main())
