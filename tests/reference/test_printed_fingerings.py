"""The demo's fingered studies: one printed finger in four given, the rest completed.

The share of the other printed fingers that the completion agrees with is reported (run with
-s to see it); the limit below only guards against a broken engine, it isn't a target.
"""

from pathlib import Path

import pytest

from repertoire.notation.musicxml import list_contents, read_part
from repertoire.technique.fingering import complete, read_as, usual_preset
from repertoire.technique.marks import Kind

MUSIC = Path(__file__).resolve().parents[2] / "fixtures" / "music"


def agreement():
    """(study, printed fingers not given, of which completed alike) for each fingered study."""
    for path in sorted(MUSIC.glob("*.musicxml")):
        content = path.read_bytes()
        for number, part in enumerate(list_contents(content, path.name).parts, 1):
            instrument = part.instrument if part.instrument in ("violin", "viola") else "viola"
            for movement in read_part(content, path.name, number).movements:
                fingers = [m for m in movement.printed if m.kind is Kind.FINGER]
                if len(fingers) < 8:
                    continue
                order = sorted(fingers, key=lambda m: movement.line.order(m.at))
                given, kept = set(order[::4]), [m for n, m in enumerate(order) if n % 4]
                marks = tuple(m for m in movement.printed if m.kind is not Kind.FINGER or m in given)
                preset = read_as(usual_preset(movement.line, instrument), movement.line, marks, instrument)
                found = complete(movement.line, marks, instrument, preset=preset).by_address
                alike = sum(str(found[m.at].finger) == m.value[0] for m in kept if m.at in found)
                yield f"{path.stem} ({part.name})", len(kept), alike


def test_printed_fingers_given_one_in_four():
    rows = list(agreement())
    if not rows:
        pytest.skip("no study of the demo has eight printed fingers")
    for name, count, alike in rows:
        print(f"{name}: {alike} of {count} printed fingers completed alike")
    total, alike = sum(r[1] for r in rows), sum(r[2] for r in rows)
    print(f"together {alike / total:.0%}")
    assert alike / total > 0.5
