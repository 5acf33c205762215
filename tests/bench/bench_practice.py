"""How fast practice staves are made and drawn: a stave of each kind, warm, from recipe to picture.

`figures()` gives one entry a measure with its limit in ms; run it alone with
`python -m tests.bench.bench_practice`.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Iterator
from pathlib import Path

from repertoire.notation.cutting import cut, marks_in
from repertoire.notation.engraving import Look, engrave
from repertoire.notation.musicxml import read_part
from repertoire.technique import recipes
from repertoire.technique.fingering import complete
from repertoire.technique.note_spans import inside
from repertoire.technique.practice_offers import offers
from tests.bench.figures import Figure

ROOT = Path(__file__).resolve().parents[2]
LIMIT = 60.0  # ms, warm: the passage read and its hand completed
ROUNDS = 7


def figures() -> Iterator[Figure]:
    """Milliseconds from recipe to picture for the eight bars of two studies: the median over every
    kind that is offered there, and the slowest kind."""
    times: dict[str, list[float]] = {}
    for name, part, first in [("evening-boat", "Viola", 9), ("mill-wheel", "Violin", 1)]:
        path = ROOT / f"fixtures/music/{name}.musicxml"
        movement = read_part(path.read_bytes(), path.name, part).movements[0]
        line = cut(movement.line, first, None, first + 7, None)
        marks = inside(marks_in(movement.printed, line), line)
        fingering = complete(line, marks, line.instrument)
        chosen = {kind: offer for offer in reversed(offers(line, marks, fingering)) for kind in offer.kinds}
        for kind, offer in chosen.items():
            given = recipes.suited(kind, offer.given)
            bars = line if offer.bars is None else cut(line, offer.bars[0], None, offer.bars[1], None)
            here = inside(marks, bars)
            for turn in range(ROUNDS + 1):
                begun = time.perf_counter()
                stave = recipes.make(kind, bars, here, fingering, given)
                engrave(stave.line, stave.marks, Look(width_mm=180, screen=False, printed=stave.marks))
                if turn:  # the first one warms up
                    times.setdefault(f"{kind} ({name})", []).append((time.perf_counter() - begun) * 1000)
    medians = {what: statistics.median(row) for what, row in times.items()}
    slowest = max(medians, key=lambda what: medians[what])
    yield Figure(
        f"practice stave from recipe to picture, {len(medians)} of them",
        statistics.median(medians.values()),
        "ms",
        LIMIT,
    )
    yield Figure(f"  the slowest: {slowest}", medians[slowest], "ms", LIMIT)


if __name__ == "__main__":
    for figure in figures():
        print(f"{figure.what:<70} {figure.value:7.1f} {figure.unit}  at most {figure.goal:g}")
