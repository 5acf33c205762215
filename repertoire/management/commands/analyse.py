"""Analyse one part of a MusicXML file and print it as JSON. Needs no database.

Reads the marks printed in the file. Messages go to standard error, the JSON alone to
standard output. With `--notes`, bare note lists take the place of the file: each gets a
left hand, printed or written to `--out` as one JSON file a list.
"""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from repertoire.bounds import BoundsError, read_bounds
from repertoire.notation.analysis import LeftHand, Numbers, analyse_line, join_movements
from repertoire.notation.cutting import cut, marks_in
from repertoire.notation.left_hand_analysis import analyse_left_hand, instrument_of
from repertoire.notation.musicxml import FileError, ReadMovement, ReadPart, read_part
from repertoire.notation.notes_csv import NotesError, analyse_notes, note_files, read_notes
from repertoire.technique.fingering_costs import PRESETS
from repertoire.technique.line import Line, LineError
from repertoire.technique.marks import Marks


class Refusal(Exception):
    """What was asked for can't be done; the message says why."""


class Command(BaseCommand):
    help = "Analyse one part of a MusicXML file: every note, bow stroke and shift, what there is to tell, as JSON."
    requires_system_checks: list[str] = []  # noqa: RUF012
    requires_migrations_checks = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, metavar="FILE", nargs="?")
        parser.add_argument("--part", help="the part’s name, its number from 1, or its id in the file")
        parser.add_argument("--bars", default="", metavar="A-B", help="printed bar numbers, such as 12-19")
        parser.add_argument("--movement", type=int, metavar="N", help="one of several movements, from 1")
        parser.add_argument(
            "--tempo", type=float, metavar="BPM",
            help="quarter notes a minute throughout; without it the part’s tempo marks are followed",
        )  # fmt: skip
        parser.add_argument("--instrument", choices=("violin", "viola"), help="when the part doesn’t say, or another")
        parser.add_argument(
            "--preset", choices=tuple(PRESETS),
            help="character of the fingering: balanced, but low and clear for a file that stays in first position",
        )  # fmt: skip
        parser.add_argument(
            "--alternatives", type=int, choices=range(4), metavar="N",
            help="possible fingerings to give beside it, 0 to 3: 3 for a file, none for note lists unless asked for",
        )  # fmt: skip
        parser.add_argument(
            "--notes", action="append", default=[], metavar="CSV",
            help="a bare note list, or a folder of them, in place of FILE; may be given many times",
        )  # fmt: skip
        parser.add_argument("--out", type=Path, metavar="DIR", help="where the JSON files of --notes go")
        parser.add_argument("--json", action="store_true", help="JSON without line breaks")

    def handle(self, *args: Any, **options: Any) -> None:
        indent = None if options["json"] else 1
        try:
            if options["notes"]:
                for name, found in analyse_note_lists(options):
                    text = json.dumps(found, ensure_ascii=False, indent=indent)
                    if options["out"] is None:
                        self.stdout.write(text)
                    else:
                        (options["out"] / f"{name}.json").write_text(text, encoding="utf-8")
                return
            self.stdout.write(json.dumps(analyse(options), ensure_ascii=False, indent=indent))
        except (Refusal, FileError, BoundsError, LineError, NotesError) as error:
            self.stderr.write(str(error))
            sys.exit(1)


def analyse_note_lists(options: dict[str, Any]) -> Iterator[tuple[str, Numbers]]:
    """Name and left hand of each note list, in order. Raises Refusal, NotesError."""
    if options["file"] is not None:
        raise Refusal("Give a file or note lists, not both.")
    out: Path | None = options["out"]
    files = note_files(options["notes"])
    if out is None and len(files) != 1:
        raise Refusal(f"{len(files)} note lists: say with --out which folder their JSON files go to.")
    if out is not None:
        try:
            out.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise Refusal(f"{out} can’t be made: {error.strerror}.") from None
    for path in files:
        try:
            notes = read_notes(path.read_text(encoding="utf-8"))
        except NotesError as error:
            raise NotesError(f"{path.name}: {error}") from None
        except (OSError, UnicodeDecodeError):
            raise NotesError(f"{path.name} can’t be read as text.") from None
        yield (
            path.stem,
            analyse_notes(
                notes,
                options["instrument"] or "violin",
                preset=options["preset"] or "balanced",
                alternatives=options["alternatives"] or 0,
            ),
        )


def left_hand_of(options: dict[str, Any]) -> LeftHand:
    """What reads the left hand of a line, as the options ask."""
    count = 3 if options["alternatives"] is None else options["alternatives"]

    def read(line: Line, marks: Marks) -> Numbers:
        return analyse_left_hand(
            line,
            marks,
            options["instrument"] or instrument_of(line),
            preset=options["preset"],
            count=count,
            tempo=options["tempo"],
        )

    return read


def analyse(options: dict[str, Any]) -> Numbers:
    """The analysis that the options ask for. Raises Refusal and the errors of what it calls."""
    if options["file"] is None or options["part"] is None:
        raise Refusal("Give a MusicXML file and --part, or note lists with --notes.")
    path: Path = options["file"]
    tempo: float | None = options["tempo"]
    if tempo is not None and not 1 <= tempo <= 1000:
        raise Refusal("The tempo is a number of quarter notes a minute, from 1 to 1000.")
    try:
        read = read_part(path.read_bytes(), path.name, options["part"])
    except OSError as error:
        raise Refusal(f"{path} can’t be opened: {error.strerror}.") from None
    chosen = choose_movements(read, options["movement"])
    left_hand = left_hand_of(options)
    found: list[Numbers] = []
    refusals: list[str] = []
    for movement in chosen:
        try:
            line, marks = movement.line, movement.printed
            if options["bars"]:
                bounds = read_bounds(options["bars"], line)
                line = cut(line, bounds.start_bar, bounds.start, bounds.end_bar, bounds.end)
                marks = marks_in(marks, line)
        except BoundsError as error:
            refusals.append(f"Movement {movement.number}: {error}" if len(chosen) > 1 else str(error))
            continue
        found.append(analyse_line(line, marks, movement=movement.number, tempo=tempo, left_hand=left_hand))
    if not found:
        raise Refusal("\n".join(refusals))
    return join_movements(found)


def choose_movements(read: ReadPart, number: int | None) -> tuple[ReadMovement, ...]:
    """All movements, or the one asked for. Raises Refusal."""
    if number is None:
        return read.movements
    found = tuple(m for m in read.movements if m.number == number)
    if not found:
        raise Refusal(f"There is no movement {number} in this part: it has {len(read.movements)}.")
    return found
