"""Short passages for tests, written as text.

`line("4/4", "alto", "C4 q D4 q E4 h | F4 w")` gives two bars. After each pitch stands its
value: w h q e s t (whole to 32nd), dots `q.`, triplets `e3` (three in the time of two), a
grace note `g`, then `~` for a tie to the next note and `:2` for strokes through the stem.
`r q` is a rest, `C4+E4 q` a chord. `|` ends a bar, `|:` and `:|` repeat, `[1` and `[2` at a
bar's start are endings, `3/4` alone changes the meter. A first bar that is too short is
an upbeat. A second voice of a bar follows after `&`.

`marks("down b1n1", "slur b1n1 b1n3", "p b1n1", "1/2 b2n1", "upper-half b2n1")` gives marks.
"""

from fractions import Fraction

from repertoire.technique.line import Bar, Clef, Event, Line, Meter, Value
from repertoire.technique.marks import ARTICULATIONS, BOW_PARTS, DYNAMICS, Kind, Mark, Marks
from repertoire.technique.pitch import Pitch

VALUES = {"w": "whole", "h": "half", "q": "quarter", "e": "eighth", "s": "16th", "t": "32nd"}


def line(meter: str, clef: str, text: str, *, key: int = 0, instrument: str = "viola") -> Line:
    bars: list[Bar] = []
    events: list[Event] = []
    onset = Fraction(0)
    beats, beat_type = meter.split("/")
    time = Meter(beats, int(beat_type))
    tied: set[str] = set()
    upbeat = 0
    chunks = text.replace("|:", " |: ").replace(":|", " :| ").replace("|", " | ").replace("| :", "|:")
    chunks = chunks.replace(": |", ":|")
    words: list[str] = []
    repeat_start = False
    for word in [*chunks.split(), "|"]:
        if word not in ("|", "|:", ":|"):
            words.append(word)
            continue
        if words:
            index = len(bars) + 1
            ending: tuple[int, ...] = ()
            shown = index == 1
            while words and (words[0].startswith("[") or "/" in words[0]):
                first = words.pop(0)
                if first.startswith("["):
                    ending = tuple(int(n) for n in first[1:].split(","))
                else:
                    top, low = first.split("/")
                    time, shown = Meter(top, int(low)), True
            found, length, tied = _bar(index, words, tied)
            if index == 1 and length < time.length:
                upbeat = 1
            missing = time.length - length if index == 1 and upbeat else Fraction(0)
            bars.append(
                Bar(
                    index,
                    str(index - upbeat),
                    onset,
                    length,
                    time,
                    key,
                    clefs=(Clef(clef),),
                    missing=missing,
                    repeat_start=repeat_start,
                    repeat_end=2 if word == ":|" else 0,
                    ending=ending,
                    meter_shown=shown,
                    key_shown=index == 1,
                )
            )
            events += found
            onset += length
            words, repeat_start = [], False
        if word == "|:":
            repeat_start = True
    return Line(tuple(bars), tuple(events), instrument=instrument)


def _bar(index: int, words: list[str], tied: set[str]) -> tuple[list[Event], Fraction, set[str]]:
    voices: list[list[str]] = [[]]
    for word in words:
        if word == "&":
            voices.append([])
        else:
            voices[-1].append(word)
    rows = []
    length = Fraction(0)
    for voice, row in enumerate(voices, start=1):
        at = Fraction(0)
        grace = 0
        for name, value in zip(row[::2], row[1::2], strict=True):
            strokes = 0
            if ":" in value:
                value, _, digit = value.partition(":")
                strokes = int(digit)
            tie = value.endswith("~")
            value = value.rstrip("~")
            pitches = () if name == "r" else tuple(Pitch.parse(n) for n in name.split("+"))
            if value == "g":
                written, lasts, kind = Value("eighth"), Fraction(0), "slashed"
                grace += 1
            else:
                dots = value.count(".")
                triplet = (3, 2) if "3" in value else None
                written = Value(VALUES[value[0]], dots, triplet)
                lasts, kind, grace = written.quarters, "", 0
            rows.append((at, not kind, grace, voice, pitches, written, lasts, kind, tie, strokes))
            at += lasts
        length = max(length, at)
    rows.sort(key=lambda r: r[:4])
    events = []
    going = set(tied)
    for place, (at, _, _, voice, pitches, written, lasts, kind, tie, strokes) in enumerate(rows, start=1):
        names = tuple(p.name for p in pitches)
        events.append(
            Event(
                f"b{index}n{place}",
                index,
                at,
                lasts,
                pitches,
                written,
                voice,
                kind,
                tied_from=tuple(n in going for n in names),
                tied_to=tuple(tie for _ in names),
                tremolo=strokes,
            )
        )
        if not kind and voice == 1:
            going = set(names) if tie else set()
    return events, length, going


_WORDS = {
    **dict.fromkeys(("down", "up"), Kind.BOW),
    **dict.fromkeys(ARTICULATIONS, Kind.ARTICULATION),
    **dict.fromkeys(DYNAMICS, Kind.DYNAMIC),
    **dict.fromkeys((p.replace(" ", "-") for p in BOW_PARTS), Kind.PART),
    **dict.fromkeys(("pizz", "arco"), Kind.PIZZICATO),
    **dict.fromkeys(("hooked", "portato"), Kind.HOOK),
    **dict.fromkeys(("crescendo", "diminuendo"), Kind.HAIRPIN),
}


def marks(*texts: str) -> Marks:
    out = []
    for text in texts:
        word, at, *to = text.split()
        last = to[0] if to else ""
        if word in ("slur", "retake", "fermata", "phrase"):
            out.append(Mark(Kind(word), at, to=last))
        elif word == "high":
            out.append(Mark(Kind.HIGH_POINT, at))
        elif "/" in word or word == "1":
            out.append(Mark(Kind.AMOUNT, at, word))
        elif word.startswith("finger"):
            out.append(Mark(Kind.FINGER, at, word.removeprefix("finger")))
        else:
            out.append(Mark(_WORDS[word], at, word.replace("-", " ") if word in _WORDS else word, last))
    return tuple(out)
