"""Analyse one part of a MusicXML file and print it as JSON. Needs no database.

Reads the marks printed in the file. Messages go to standard error, the JSON alone to
standard output.
"""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from repertoire.bounds import BoundsError, read_bounds
from repertoire.notation.analysis import Numbers, analyse_line, join_movements
from repertoire.notation.cutting import cut, marks_in
from repertoire.notation.musicxml import FileError, ReadMovement, ReadPart, read_part
from repertoire.technique.line import LineError


class Refusal(Exception):
    """What was asked for can't be done; the message says why."""


class Command(BaseCommand):
    help = "Analyse one part of a MusicXML file: every note, every bow stroke, what there is to tell, as JSON."
    requires_system_checks: list[str] = []  # noqa: RUF012
    requires_migrations_checks = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, metavar="FILE")
        parser.add_argument("--part", required=True, help="the part's name, its number from 1, or its id in the file")
        parser.add_argument("--bars", default="", metavar="A-B", help="printed bar numbers, such as 12-19")
        parser.add_argument("--movement", type=int, metavar="N", help="one of several movements, from 1")
        parser.add_argument("--tempo", type=float, metavar="BPM", help="quarter notes a minute")
        parser.add_argument("--json", action="store_true", help="JSON without line breaks")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            found = analyse(options)
        except (Refusal, FileError, BoundsError, LineError) as error:
            self.stderr.write(str(error))
            sys.exit(1)
        indent = None if options["json"] else 1
        self.stdout.write(json.dumps(found, ensure_ascii=False, indent=indent))


def analyse(options: dict[str, Any]) -> Numbers:
    """The analysis that the options ask for. Raises Refusal and the errors of what it calls."""
    path: Path = options["file"]
    tempo: float | None = options["tempo"]
    if tempo is not None and not 1 <= tempo <= 1000:
        raise Refusal("The tempo is a number of quarter notes a minute, from 1 to 1000.")
    try:
        read = read_part(path.read_bytes(), path.name, options["part"])
    except OSError as error:
        raise Refusal(f"{path} can't be opened: {error.strerror}.") from None
    chosen = choose_movements(read, options["movement"])
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
        found.append(analyse_line(line, marks, movement=movement.number, tempo=tempo))
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
