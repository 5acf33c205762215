"""Several markings as staves of one system: room for a strip under each, rings, signs nobody wrote."""

from repertoire.notation.engraving import engrave_together
from repertoire.notation.look import Look
from tests.technique.lines import line, marks

MUSIC = line("4/4", "alto", "C4 q D4 q E4 q F4 q | G4 h A4 h | B4 q A4 q G4 q F4 q | E4 w")
ONE, OTHER = marks("slur b1n1 b1n2", "p b1n1", "crescendo b1n1 b1n4"), marks("up b2n1", "p b1n1")
STAVES = [("A", MUSIC, ONE), ("B", MUSIC, OTHER), ("C", MUSIC, ())]


def test_room_is_left_under_each_staff_and_a_strip_goes_into_it():
    for width in (60, 180):
        for system in engrave_together(STAVES, Look(width_mm=width), room_mm=21.0).systems:
            assert len(system.rooms) == 2
            for (top, bottom), above, below in zip(system.rooms, system.staves, system.staves[1:], strict=False):
                assert bottom - top >= 21
                assert above.bottom <= top
                assert bottom <= below.top
            placed = system.with_strip("<path/>", 18.0, staff=0)
            assert placed.height_mm == system.height_mm
            assert 'class="strip"' in placed.body
            # Under the last staff, and what is too tall for the room, it makes the system taller.
            assert system.with_strip("<path/>", 18.0, staff=2).height_mm == system.height_mm + 19.5
            assert system.with_strip("<path/>", 90.0, staff=0).height_mm == system.height_mm + 91.5
    assert engrave_together(STAVES, Look()).systems[0].rooms == ()


def test_rings_stand_against_what_is_asked_and_not_for_signs_nobody_wrote():
    def rings(**more):
        return [s.body.count("<ellipse") for s in engrave_together(STAVES[:2], Look(width_mm=200), **more).systems]

    # The slur and the crescendo on one note, the up-bow on another, on both staves.
    assert rings() == [4]
    assert rings(inferred=[marks("down b1n3"), ()]) == [4]
    # Against the second marking only the first staff differs: at the slur's note and at the up-bow it lacks.
    assert rings(against=OTHER) == [2]
