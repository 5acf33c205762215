"""A short score written for these tests: violin and viola, two movements, as MusicXML."""

from __future__ import annotations

from django.core.files.uploadedfile import SimpleUploadedFile

from repertoire.importing import add_part
from repertoire.models import Movement, Part, Piece
from studio.models import Teacher

# Eight bars, then six whose numbers start again; quarter notes, the first of each bar down-bow.
MOVEMENTS = (8, 6)
LETTERS = {"violin": "EFGABAGF", "viola": "DEFGAGFE"}


def _bar(instrument: str, number: int, count: int, opening: bool) -> str:
    first, octave = LETTERS[instrument][(count - 1) % 8], 5 if instrument == "violin" else 4
    clef = "<sign>G</sign><line>2</line>" if instrument == "violin" else "<sign>C</sign><line>3</line>"
    head = ""
    if opening:
        head = (
            "<attributes><divisions>1</divisions><key><fifths>0</fifths></key>"
            f"<time><beats>4</beats><beat-type>4</beat-type></time><clef>{clef}</clef></attributes>"
        )
    bow = "<notations><technical><down-bow/></technical></notations>"
    note = (
        f"<note><pitch><step>{first}</step><octave>{octave}</octave></pitch><duration>1</duration><type>quarter</type>"
    )
    return f'<measure number="{number}">{head}{note}{bow}</note>{3 * (note + "</note>")}</measure>'


def score(*, title: str = "Two short movements") -> bytes:
    """The score as the bytes of a file."""
    parts = ""
    for name, instrument in (("P1", "violin"), ("P2", "viola")):
        bars, count = "", 0
        for length in MOVEMENTS:
            for number in range(1, length + 1):
                count += 1
                bars += _bar(instrument, number, count, number == 1)
        parts += f'<part id="{name}">{bars}</part>'
    return (
        '<?xml version="1.0" encoding="UTF-8"?><score-partwise version="4.0">'
        f"<work><work-title>{title}</work-title></work>"
        '<identification><creator type="composer">Ada Fell</creator></identification>'
        '<part-list><score-part id="P1"><part-name>Violin</part-name></score-part>'
        '<score-part id="P2"><part-name>Viola</part-name></score-part></part-list>'
        f"{parts}</score-partwise>"
    ).encode()


def sent(content: bytes | None = None, name: str = "two.musicxml") -> SimpleUploadedFile:
    """The score as a browser sends it."""
    return SimpleUploadedFile(name, score() if content is None else content)


def viola_part(teacher: Teacher, **fields: str) -> Part:
    """The viola part, read into a piece of its own."""
    piece = Piece.objects.create(teacher=teacher, title="Two short movements", composer="Ada Fell")
    return add_part(piece, score(), "two.musicxml", "Viola", **fields)


def first_movement(teacher: Teacher) -> Movement:
    part = viola_part(teacher)
    return Movement.objects.select_related("revision__part__piece").get(revision__part=part, number=1)
