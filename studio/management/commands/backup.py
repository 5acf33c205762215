"""`manage.py backup FILE`: the whole studio in one archive, while it is in use."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection

from studio.archive import ArchiveError, back_up


class Command(BaseCommand):
    help = "Write the database, the uploads and the sheets into FILE (.tar.gz), with a manifest of hashes."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="the archive to write, for example studio-2026-03-01.tar.gz")
        parser.add_argument("--overwrite", action="store_true", help="replace FILE if it is there already")

    def handle(self, *args: Any, **options: Any) -> None:
        if connection.vendor != "sqlite":
            raise CommandError(
                "This studio’s database is PostgreSQL: back it up with pg_dump, "
                f"and copy the folders {settings.MEDIA_ROOT} and {settings.SHEETS_ROOT} after it."
            )
        archive = options["file"].expanduser().resolve()
        try:
            entries = back_up(
                archive,
                database=Path(connection.settings_dict["NAME"]),
                uploads=Path(settings.MEDIA_ROOT),
                sheets=Path(settings.SHEETS_ROOT),
                overwrite=options["overwrite"],
            )
        except (ArchiveError, OSError) as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"{archive}: the database and {len(entries) - 1} files, {archive.stat().st_size:,} bytes.")
