"""How fast a left hand is completed, in processor time. Run: python tests/bench/bench_fingering.py

Prints one line a measure with its limit and ends with status 1 when a limit is passed. The
notes are a settled pseudo-random walk over three octaves, harder than most music.
"""

import random
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from repertoire.technique.bare_notes import moments_of_notes
from repertoire.technique.fingering import complete_moments
from repertoire.technique.fingering_alternatives import alternatives_of
from tests.bench.figures import Figure, least, show


def walk(count: int, seed: int) -> tuple[list[int], list[float], list[float]]:
    chance = random.Random(seed)
    midi, now = 74, 0.0
    midis, onsets, lengths = [], [], []
    for _ in range(count):
        midi = min(max(midi + chance.choice([-7, -5, -4, -3, -2, -2, -1, 1, 2, 2, 3, 4, 5, 7]), 56), 92)
        length = chance.choice([0.25, 0.25, 0.5, 0.5, 1.0])
        midis.append(midi)
        onsets.append(now)
        lengths.append(length)
        now += length + chance.choice([0.0] * 9 + [1.0])
    return midis, onsets, lengths


def figures() -> list[Figure]:
    thousand = walk(1000, 1)
    moments = moments_of_notes(*thousand)
    note = least(lambda: complete_moments(moments_of_notes(*thousand), "violin")) * 1000  # µs: a thousand notes
    three = least(lambda: alternatives_of(moments, "violin"), 3)
    pinned = moments_of_notes(*walk(200, 2), (), [None if n % 8 else 2 for n in range(200)])
    pin = least(lambda: complete_moments(pinned, "violin")) * 1000
    return [
        Figure("completed fingering, a note", note, "µs", 200),
        Figure("1,000 notes with three alternatives", three, "s", 0.8),
        Figure("pin and complete 200 notes", pin, "ms", 50),
    ]


def main() -> int:
    found = figures()
    show(found)
    return int(any(figure.missed for figure in found))


if __name__ == "__main__":
    raise SystemExit(main())
