"""How fast a left hand is completed, in processor time. Run: python tests/bench/bench_fingering.py

Prints one line a measure with its limit and ends with status 1 when a limit is passed. The
notes are a settled pseudo-random walk over three octaves, harder than most music.
"""

import random
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from repertoire.technique.fingering import complete_moments
from repertoire.technique.fingering_alternatives import alternatives_of
from repertoire.technique.moments import moments_of_notes


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


def least(action, times: int = 5) -> float:
    best = float("inf")
    for _ in range(times):
        start = time.process_time()
        action()
        best = min(best, time.process_time() - start)
    return best


def main() -> int:
    thousand = walk(1000, 1)
    moments = moments_of_notes(*thousand)
    note_time = least(lambda: complete_moments(moments_of_notes(*thousand), "violin"))
    measures = [
        ("completed fingering, microseconds a note", note_time * 1000, 200),
        ("1,000 notes with three alternatives, seconds", least(lambda: alternatives_of(moments, "violin"), 3), 0.8),
    ]
    short = walk(200, 2)
    fingers = [None if n % 8 else 2 for n in range(200)]
    pinned = moments_of_notes(*short, (), fingers)
    measures.append(
        ("pin and complete 200 notes, milliseconds", least(lambda: complete_moments(pinned, "violin")) * 1000, 50)
    )
    failed = False
    for name, value, limit in measures:
        failed |= value > limit
        print(f"{name}: {value:.3g} (limit {limit})")
    return int(failed)


if __name__ == "__main__":
    raise SystemExit(main())
