"""A short passage in the database for the tests of marking and comparing."""

from repertoire.models import Movement, Part, Passage, Piece, Revision
from repertoire.notation.storing import line_to_json
from repertoire.technique.marks import dump
from tests.technique.lines import line, marks

# Two bars, a chord, a rest: G3 A3 B3 C4 | C3+G3+E4, rest, D4.
LINE = line("4/4", "alto", "G3 q A3 q B3 q C4 q | C3+G3+E4 h r q D4 q")
PRINTED = marks("slur b1n1 b1n2", "p b1n1")


def make_passage(teacher, *, notated=True, title="Opening"):
    piece = Piece.objects.create(teacher=teacher, title="Study in C")
    part = Part.objects.create(piece=piece, name="Viola", instrument="viola")
    revision = Revision.objects.create(part=part, source="musicxml" if notated else "none")
    stored = {"line": line_to_json(LINE), "printed": dump(PRINTED)} if notated else {}
    movement = Movement.objects.create(revision=revision, bar_count=2, **stored)
    return Passage.objects.create(
        teacher=teacher, movement=movement, title=title, start_bar=1, end_bar=2, first_number="1", last_number="2"
    )
