"""Bare note lists: a CSV of numbers in, a possible left hand for each row out.

Columns `pitch_midi`, `onset_quarters`, `duration_quarters`, and optionally `string` (1 to
4 or I to IV, I the highest) and `finger` (0 to 4) as given marks. Rests follow from the
onsets; rows with one onset are a double stop or chord.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from repertoire.technique.bare_notes import moments_of_notes
from repertoire.technique.fingering import complete_moments
from repertoire.technique.fingering_alternatives import alternatives_of
from repertoire.technique.fingering_costs import NO_LIMITS, Limits
from repertoire.technique.left_hand import shifts
from repertoire.technique.moments import Moment
from repertoire.technique.strings import STRING_NAMES

from .left_hand_analysis import describe_alternative, describe_finding, describe_note, describe_shift

REQUIRED = ("pitch_midi", "onset_quarters", "duration_quarters")


class NotesError(ValueError):
    """A note list that can't be read; the message names the row and what is wrong."""


@dataclass(frozen=True)
class NoteList:
    """Rows of a CSV as moments; `rows` is how many there are. Row n has the address `r<n>`."""

    rows: int
    moments: tuple[Moment, ...]


def read_notes(text: str) -> NoteList:
    """Read a CSV with a heading row. Raises NotesError."""
    reader = csv.reader(io.StringIO(text.lstrip("\ufeff")))
    heading = [name.strip().lower() for name in next(reader, [])]
    missing = [name for name in REQUIRED if name not in heading]
    if missing:
        raise NotesError(f"The first row names the columns; {', '.join(missing)} not found.")
    at = {name: heading.index(name) for name in heading}
    string_at, finger_at = at.get("string"), at.get("finger")
    midis: list[int] = []
    onsets: list[float] = []
    lengths: list[float] = []
    strings: list[int | None] = []
    fingers: list[int | None] = []
    for number, row in enumerate(reader, 2):
        if not any(cell.strip() for cell in row):
            continue
        try:
            midis.append(round(float(row[at["pitch_midi"]])))
            onsets.append(float(row[at["onset_quarters"]]))
            lengths.append(float(row[at["duration_quarters"]]))
            strings.append(_string(row, string_at))
            fingers.append(_number(row, finger_at, 0, 4, "finger"))
        except IndexError:
            raise NotesError(f"Row {number} has fewer cells than the heading.") from None
        except ValueError as error:
            raise NotesError(f"Row {number}: {error}.") from None
        if not 0 <= midis[-1] <= 127 or lengths[-1] < 0 or not abs(onsets[-1]) < 1e9:
            raise NotesError(f"Row {number}: a pitch from 0 to 127, an onset and a duration not below 0 are needed.")
    return NoteList(len(midis), moments_of_notes(midis, onsets, lengths, strings, fingers))


def _cell(row: list[str], at: int | None) -> str:
    return row[at].strip() if at is not None and at < len(row) else ""


def _number(row: list[str], at: int | None, low: int, high: int, word: str) -> int | None:
    text = _cell(row, at)
    if text.lower() in ("", "nan", "none", "null"):
        return None
    value = float(text)
    if value != int(value) or not low <= value <= high:
        raise ValueError(f"“{text}” is not a {word} from {low} to {high}")
    return int(value)


def _string(row: list[str], at: int | None) -> int | None:
    text = _cell(row, at).upper()
    return STRING_NAMES.index(text) + 1 if text in STRING_NAMES else _number(row, at, 1, 4, "string")


def analyse_notes(
    notes: NoteList,
    instrument: str = "violin",
    *,
    preset: str = "balanced",
    alternatives: int = 0,
    limits: Limits = NO_LIMITS,
) -> dict[str, Any]:
    """A JSON-ready object: `notes` (one entry a row, in the rows' order), `shifts`, `findings`,
    and `alternatives` when any are asked for."""
    fingering = complete_moments(notes.moments, instrument, preset=preset, limits=limits)
    addresses = [f"r{row}" for row in range(notes.rows)]
    out: dict[str, Any] = {
        "instrument": instrument,
        "preset": preset,
        "notes": [describe_note(fingering, address) for address in addresses],
        "shifts": [describe_shift(fingering, shift) for shift in shifts(fingering)],
        "findings": [describe_finding(fingering, finding) for finding in fingering.findings],
    }
    if alternatives:
        found = alternatives_of(notes.moments, instrument, count=alternatives, first=preset, limits=limits)
        out["alternatives"] = [describe_alternative(a, addresses) for a in found]
    return out


def note_files(places: Iterable[str | Path]) -> list[Path]:
    """CSV files named one by one or by folder, in order. Raises NotesError."""
    found: list[Path] = []
    for place in map(Path, places):
        if place.is_dir():
            found += sorted(p for p in place.iterdir() if p.suffix.lower() == ".csv")
        elif place.is_file():
            found.append(place)
        else:
            raise NotesError(f"There is no file or folder “{place}”.")
    stems = [p.stem for p in found]
    twice = sorted({stem for stem in stems if stems.count(stem) > 1})
    if twice:
        raise NotesError(f"Two note lists would be written to one file: {', '.join(twice)}.")
    return found
