"""Marks of every kind, value and option, strewn over a line by a seeded chance: they try a
writer or reader, not a player."""

import random

from repertoire.technique.line import Line
from repertoire.technique.marks import (
    ARTICULATIONS,
    BOW_PARTS,
    DYNAMICS,
    MAY_SPAN,
    ORNAMENTS,
    PER_MEMBER,
    SPANS,
    STRINGS,
    Kind,
    Mark,
    MarkError,
    Marks,
    put,
)

VALUES = {
    Kind.BOW: ("down", "up"),
    Kind.SLUR: ("", "dashed"),
    Kind.HOOK: ("hooked", "portato"),
    Kind.AMOUNT: ("1/2", "1", "1/3", "3/4"),
    Kind.PART: BOW_PARTS,
    Kind.ARTICULATION: ARTICULATIONS,
    Kind.PIZZICATO: ("pizz", "arco", "left hand", "snap"),
    Kind.FINGER: ("0", "1", "2", "3", "4", "2-1", "3-0"),
    Kind.STRING: STRINGS,
    Kind.EXTENSION: ("forward", "back"),
    Kind.HARMONIC: ("natural", "artificial"),
    Kind.SLIDE: ("start", "arrival"),
    Kind.VIBRATO: ("vibrato", "none"),
    Kind.ORNAMENT: ORNAMENTS,
    Kind.DYNAMIC: DYNAMICS,
    Kind.HAIRPIN: ("crescendo", "diminuendo"),
    Kind.OCTAVE: ("8va", "8vb"),
    Kind.TEXT: (
        "dolce", "sul tasto", "Allegro", "D.C. al Fine", "pizz.", "II. Romanze", "a < b & \"c\": d; e", "two\nlines",
        "élan – ♪", "rit.", "Fine", "retake", "slur; alone",
    ),
}  # fmt: skip
OPTIONS = {
    Kind.ORNAMENT: (
        (), (("start", "upper"),), (("close", "yes"), ("start", "main")), (("above", "sharp"),),
        (("above", "flat"), ("below", "double-sharp")), (("close", "no"), ("fingers", "1-2-3"), ("below", "natural")),
    ),
    Kind.DYNAMIC: ((), (), (("after", "1/4"),), (("after", "3/2"),)),
    Kind.HAIRPIN: ((), (), (("after", "1/4"),), (("until", "1/4"),), (("after", "1/8"), ("until", "1/3"))),
    Kind.TEXT: (
        (), (("place", "above"),), (("place", "below"), ("style", "italic")), (("style", "bold"),),
        (("style", "plain"),), (("after", "1/4"),),
    ),
    Kind.SLUR: ((), (("side", "above"),), (("side", "below"),)),
}  # fmt: skip


def every_sort() -> list[tuple[Kind, str, tuple[tuple[str, str], ...]]]:
    """Each kind with each of its values, and with each set of options."""
    out = []
    for kind in Kind:
        values, options = VALUES.get(kind, ("",)), OPTIONS.get(kind, ((),))
        out += [(kind, value, ()) for value in values]
        out += [(kind, values[0], chosen) for chosen in options if chosen]
    return out


def strewn(line: Line, seed: int, *, each: int = 2) -> Marks:
    """Marks of every kind on chance notes of a line, `each` of a kind where they fit."""
    chance = random.Random(seed)
    notes = list(line.notes)
    rests = [e for e in line.events if e.is_rest]
    marks: Marks = ()
    for kind in Kind:
        for _ in range(each):
            first = chance.randrange(len(notes))
            spans = kind in SPANS or (kind in MAY_SPAN and chance.random() < 0.5)
            last = min(first + chance.randrange(1, 6), len(notes) - 1)
            if spans and last == first:
                continue
            at, to = notes[first], notes[last]
            if rests and kind in (Kind.TEXT, Kind.DYNAMIC, Kind.FERMATA, Kind.BOW, Kind.ARTICULATION):
                at = chance.choice((at, at, chance.choice(rests)))

            def place(event, kind=kind):
                return chance.choice((*event.members, event.address)) if kind in PER_MEMBER else event.address

            value = chance.choice(VALUES.get(kind, ("",)))
            options = chance.choice(OPTIONS.get(kind, ((),)))
            try:
                mark = Mark(kind, place(at), value, place(to) if spans else "", options)
            except MarkError:
                continue
            marks = put(marks, mark)
    return marks
