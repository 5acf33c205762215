"""Passages in the database for the tests of the bow's pages."""

from repertoire.models import Movement, Part, Passage, Piece, Revision
from repertoire.notation.storing import line_to_json
from repertoire.technique.marks import dump
from tests.technique.lines import line, marks

# Dotted half and quarter in each bar, under a slur in the first; bar 3 comes again.
LINE = line("4/4", "alto", "G3 h. A3 q | B3 h. D4 q |: C4 h. E4 q | D4 w :|")
PRINTED = marks("slur b1n1 b1n2", "down b1n1", "p b1n1")


def uneven_passage(teacher, text="", printed=PRINTED):
    """`text` is read by `line`, or is a line already."""
    notes = line("4/4", "alto", text) if isinstance(text, str) and text else text or LINE
    part = Part.objects.create(
        piece=Piece.objects.create(teacher=teacher, title="Long and short"), name="Viola", instrument="viola"
    )
    revision = Revision.objects.create(part=part, source="musicxml")
    movement = Movement.objects.create(
        revision=revision, bar_count=len(notes.bars), line=line_to_json(notes), printed=dump(printed)
    )
    return Passage.objects.create(
        teacher=teacher,
        movement=movement,
        title="Opening",
        start_bar=1,
        end_bar=len(notes.bars),
        first_number="1",
        last_number=str(len(notes.bars)),
    )
