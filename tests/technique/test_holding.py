"""Fingers marked to stay down, and notes they are in the way of."""

import pytest

from repertoire.technique.fingering import complete
from repertoire.technique.holding import findings
from repertoire.technique.impossible import mend
from repertoire.technique.marks import Kind, Mark
from tests.technique.lines import line


def found(text, fingers, strings):
    passage = line("4/4", "alto", text)
    marks = [Mark(Kind.FINGER, f"b1n{n}", str(f)) for n, f in enumerate(fingers, 1)]
    marks += [Mark(Kind.STRING, f"b1n{n}", s) for n, s in enumerate(strings, 1)]
    marks.append(Mark(Kind.HOLD, "b1n1", to="b1n3"))
    return findings(complete(passage, marks), marks)


@pytest.mark.parametrize(
    "text, fingers, strings",
    [
        ("G4 q B4 q G4 h", (3, 1, 3), ("II", "I", "II")),
        ("E4 q G4 q E4 h", (1, 3, 1), ("II", "II", "II")),
        ("E4 q B4 q E4 h", (1, 1, 1), ("II", "I", "II")),
    ],
)
def test_what_can_stay_down(text, fingers, strings):
    assert found(text, fingers, strings) == ()


@pytest.mark.parametrize(
    "text, fingers, strings, reason",
    [
        ("G4 q F4 q G4 h", (3, 2, 3), ("II", "II", "II"), "F4 lies below G4 on one string"),
        ("G4 q C#5 q G4 h", (2, 2, 2), ("II", "I", "II"), "C♯5 needs finger 2, which holds G4"),
        ("E4 q A5 q E4 h", (1, 4, 1), ("II", "I", "II"), "finger 4 can’t reach A5 while finger 1 holds E4"),
        ("E4 q D4 q E4 h", (1, 0, 1), ("II", "II", "II"), "open II can’t sound while finger 1 holds E4"),
    ],
)
def test_what_is_in_the_way(text, fingers, strings, reason):
    (finding,) = found(text, fingers, strings)
    assert finding.address == "b1n2"
    assert reason in finding.message
    assert "lift finger" in finding.nearest


def test_a_trill_marked_with_the_fourth_finger_is_told_and_mended():
    passage = line("4/4", "alto", "C4 q Eb4 h D4 q", key=-3)
    trill = Mark(Kind.ORNAMENT, "b1n2", "trill")
    marks = (trill, Mark(Kind.FINGER, "b1n2", "4"), Mark(Kind.STRING, "b1n2", "III"))
    (said,) = findings(complete(passage, marks), marks)
    assert said.message.startswith("Bar 1, beat 2: above finger 4 no finger is left for the trill on E♭4.")
    after = mend(passage, marks, said)
    assert findings(complete(passage, after), after) == ()
    # left to itself, the hand keeps a finger free
    assert complete(passage, (trill,)).by_address["b1n2"].finger in (1, 2, 3)
