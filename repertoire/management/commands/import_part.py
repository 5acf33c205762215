"""Read one part of a MusicXML file, or one tune of an ABC file, and tell what is in it, as JSON. Needs no database.

Nothing is stored: it shows what an upload of the same file would give.
"""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from collections import Counter
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from repertoire.notation.files import FileError, ReadPart, read_part


class Command(BaseCommand):
    help = "Read one part of a file (.musicxml, .xml, .mxl, .abc) and print what it holds as JSON."
    requires_system_checks: list[str] = []  # noqa: RUF012
    requires_migrations_checks = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--part", required=True, help="the part’s name, its number from 1, or its id in the file")

    def handle(self, *args: Any, **options: Any) -> None:
        path: Path = options["file"]
        try:
            read = read_part(path.read_bytes(), path.name, options["part"])
        except OSError as error:
            self._refuse(f"{path} can’t be opened: {error.strerror}.")
        except FileError as error:
            self._refuse(str(error))
        else:
            self.stdout.write(json.dumps(summary(read), ensure_ascii=False, indent=2))

    def _refuse(self, message: str) -> None:
        self.stderr.write(message)
        sys.exit(1)


def summary(read: ReadPart) -> dict[str, Any]:
    """Counts, range, marks by kind and what was left out. `notes` counts a chord once,
    `note_heads` each of its members; `bars` and `notes` run over all movements."""
    pitches = sorted((p for m in read.movements for p in m.line.pitches), key=lambda p: (p.midi, p.step))
    kinds = Counter(str(mark.kind) for m in read.movements for mark in m.printed)
    return {
        "part": read.name,
        "instrument": read.instrument,
        "movements": len(read.movements),
        "bars": sum(len(m.line.bars) for m in read.movements),
        "notes": sum(len(m.line.notes) for m in read.movements),
        "note_heads": len(pitches),
        "range": [pitches[0].name, pitches[-1].name] if pitches else [],
        "marks": dict(sorted(kinds.items())),
        "each_movement": [
            {
                "number": m.number,
                "title": m.title,
                "bars": len(m.line.bars),
                "first": m.line.bars[0].number,
                "last": m.line.bars[-1].number,
                "notes": len(m.line.notes),
            }
            for m in read.movements
        ],
        "left_out": [{"movement": l.movement, "bar": l.bar, "what": l.what, "count": l.count} for l in read.left_out],
    }
