"""Bow signs nobody wrote: in brackets, pale, and apart from what the teacher marked."""

from repertoire.notation.engraving import engrave
from repertoire.notation.look import Look
from tests.technique.lines import line, marks

NOTES = line("4/4", "alto", "G3 q A3 q B3 q C4 q")
WRITTEN, INFERRED = marks("down b1n1"), marks("up b1n2", "down b1n3")


def drawn(look: Look) -> str:
    return "".join(system.svg for system in engrave(NOTES, (*WRITTEN, *INFERRED), look).systems)


def test_inferred_signs_have_a_class_of_their_own_and_more_to_draw():
    plain, told = drawn(Look()), drawn(Look(inferred=INFERRED))
    assert (plain.count("mark-own"), plain.count("mark-inferred")) == (3, 0)
    assert (told.count("mark-own"), told.count("mark-inferred")) == (1, 2)
    # Two brackets for each of the two signs.
    assert told.count("<use") - plain.count("<use") == 4


def test_the_room_of_the_notes_stays():
    plain, told = (engrave(NOTES, (*WRITTEN, *INFERRED), Look(inferred=i)).systems[0] for i in ((), INFERRED))
    assert list(plain.notes) == list(told.notes)
