"""The stored form of a note list: compact JSON without loss, with a format version.

A bar is an object of what differs from a plain bar; an event is a row
`[bar, place, onset, duration, pitches, value, more]` whose last item is left out when there
is nothing more to say. Lengths are integers, or text such as "3/2".
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from functools import lru_cache
from typing import Any

from repertoire.technique.line import Bar, Clef, Event, Line, LineError, Meter, TempoMark, Value, parse_address
from repertoire.technique.pitch import Pitch, PitchError

FORMAT = 1
_ZERO = Fraction(0)


def line_to_json(line: Line) -> dict[str, Any]:
    """The stored form of a line; `line_from_json` gives the same line back."""
    return {
        "format": FORMAT,
        "title": line.title,
        "part": line.part,
        "instrument": line.instrument,
        "bars": [_bar_out(b) for b in line.bars],
        "events": [_event_out(e) for e in line.events],
    }


def line_from_json(raw: Any) -> Line:
    """The line of a stored form. Raises LineError."""
    if not isinstance(raw, Mapping) or raw.get("format") != FORMAT:
        raise LineError(f"These notes are not stored in format {FORMAT}.")
    try:
        return Line(
            tuple(_bar_in(b) for b in raw["bars"]),
            tuple(_event_in(*e) for e in raw["events"]),
            str(raw["title"]),
            str(raw["part"]),
            str(raw["instrument"]),
        )
    except (KeyError, TypeError, ValueError, IndexError, PitchError, ZeroDivisionError, AttributeError) as error:
        raise LineError(f"Stored notes can’t be read: {error}.") from None


# --- values ---------------------------------------------------------------------


def _length_out(length: Fraction) -> int | str:
    return length.numerator if length.denominator == 1 else f"{length.numerator}/{length.denominator}"


@lru_cache(2048)
def _length_in(raw: int | str) -> Fraction:
    return Fraction(raw)


def _value_out(value: Value) -> str:
    ratio = f" {value.tuplet[0]}:{value.tuplet[1]}" if value.tuplet else ""
    return value.type + "." * value.dots + ratio


@lru_cache(512)
def _value_in(raw: str) -> Value:
    name, _, ratio = raw.partition(" ")
    kind = name.rstrip(".")
    actual, _, normal = ratio.partition(":")
    return Value(kind, len(name) - len(kind), (int(actual), int(normal)) if ratio else None)


@lru_cache(2048)
def _pitches_in(raw: str) -> tuple[Pitch, ...]:
    return tuple(map(_pitch_in, raw.split()))


@lru_cache(512)
def _pitch_in(raw: str) -> Pitch:
    letter, rest = raw[0], raw[1:]
    sharps, flats = rest.count("#"), rest.count("b")
    return Pitch(letter, sharps - flats, int(rest.lstrip("#b")))


@lru_cache(64)
def _flags_in(raw: str) -> tuple[bool, ...]:
    return tuple(c == "1" for c in raw)


def _flags_out(flags: tuple[bool, ...]) -> str:
    return "".join("01"[f] for f in flags)


# --- events -----------------------------------------------------------------------

_TEXT_FIELDS = (("g", "grace"), ("s", "stem"), ("x", "tremolo_pair"))


def _event_out(event: Event) -> list[Any]:
    bar, place, _ = parse_address(event.address)
    more: dict[str, Any] = {}
    if bar != event.bar:
        more["bar"] = event.bar
    if event.voice != 1:
        more["v"] = event.voice
    for short, name in _TEXT_FIELDS:
        if getattr(event, name):
            more[short] = getattr(event, name)
    plain = (False,) * len(event.pitches)
    if event.tied_from != plain:
        more["f"] = _flags_out(event.tied_from)
    if event.tied_to != plain:
        more["t"] = _flags_out(event.tied_to)
    if event.beams:
        more["b"] = list(event.beams)
    if event.tuplet_ends:
        more["u"] = list(event.tuplet_ends)
    if event.whole_bar:
        more["w"] = 1
    if event.cue:
        more["c"] = 1
    if event.tremolo:
        more["r"] = event.tremolo
    if event.accidentals:
        more["a"] = list(event.accidentals)
    row: list[Any] = [
        bar,
        place,
        _length_out(event.onset),
        _length_out(event.duration),
        " ".join(p.name for p in event.pitches),
        _value_out(event.value),
    ]
    return [*row, more] if more else row


_NOTHING: Mapping[str, Any] = {}


def _event_in(
    bar: int,
    place: int,
    onset: int | str,
    duration: int | str,
    pitches: str,
    value: str,
    more: Mapping[str, Any] = _NOTHING,
) -> Event:
    members = _pitches_in(pitches)
    plain = (False,) * len(members)
    if not more:
        return Event(
            f"b{bar}n{place}", bar, _length_in(onset), _length_in(duration), members, _value_in(value),
            tied_from=plain, tied_to=plain,
        )  # fmt: skip
    get = more.get
    return Event(
        f"b{bar}n{place}",
        get("bar", bar),
        _length_in(onset),
        _length_in(duration),
        members,
        _value_in(value),
        get("v", 1),
        get("g", ""),
        _flags_in(more["f"]) if "f" in more else plain,
        _flags_in(more["t"]) if "t" in more else plain,
        tuple(get("b", ())),
        tuple(get("u", ())),
        get("s", ""),
        bool(get("w")),
        bool(get("c")),
        get("r", 0),
        get("x", ""),
        tuple(get("a", ())),
    )


# --- bars ---------------------------------------------------------------------------


def _bar_out(bar: Bar) -> dict[str, Any]:
    out: dict[str, Any] = {
        "i": bar.index,
        "n": bar.number,
        "o": _length_out(bar.onset),
        "l": _length_out(bar.length),
        "m": [bar.meter.beats, bar.meter.beat_type, bar.meter.symbol],
        "c": [[c.name, _length_out(c.onset)] for c in bar.clefs],
    }
    for name in _BAR_PLAIN:
        if getattr(bar, name):
            out[name] = getattr(bar, name)
    if bar.missing:
        out["missing"] = _length_out(bar.missing)
    if bar.ending:
        out["ending"] = list(bar.ending)
    if bar.tempos:
        out["tempos"] = [
            [
                _length_out(t.onset),
                t.words,
                _value_out(t.unit) if t.unit else None,
                _length_out(t.per_minute) if t.per_minute is not None else None,
            ]
            for t in bar.tempos
        ]
    return out


_BAR_PLAIN = (
    "key", "mode", "repeat_start", "repeat_end", "barline", "jump", "rehearsal", "key_shown", "meter_shown",
)  # fmt: skip


@lru_cache(256)
def _meter_in(beats: str, beat_type: int, symbol: str) -> Meter:
    return Meter(beats, beat_type, symbol)  # type: ignore[arg-type]


@lru_cache(256)
def _clef_in(name: str, onset: int | str) -> Clef:
    return Clef(name, _length_in(onset))  # type: ignore[arg-type]


def _bar_in(raw: Mapping[str, Any]) -> Bar:
    return Bar(
        index=raw["i"],
        number=raw["n"],
        onset=_length_in(raw["o"]),
        length=_length_in(raw["l"]),
        meter=_meter_in(*raw["m"]),
        clefs=tuple(_clef_in(*c) for c in raw["c"]),
        missing=_length_in(raw["missing"]) if "missing" in raw else _ZERO,
        ending=tuple(raw.get("ending", ())),
        tempos=tuple(
            TempoMark(
                _length_in(onset),
                words,
                _value_in(unit) if unit else None,
                _length_in(number) if number is not None else None,
            )
            for onset, words, unit, number in raw.get("tempos", ())
        ),
        **{name: raw[name] for name in _BAR_PLAIN if name in raw},
    )
