"""`manage.py restore FILE`: a studio from its archive, wholly or not at all."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection
from django.db.migrations.loader import MigrationLoader

from studio.archive import DATABASE, ArchiveError, restore


def check_version(database: Path) -> None:
    """Refuse a database that a newer version of the program has changed. Raises ArchiveError."""
    reading = sqlite3.connect(database)
    try:
        applied = set(reading.execute("SELECT app, name FROM django_migrations"))
    except sqlite3.DatabaseError as error:
        raise ArchiveError("The archive’s database is not a studio’s.") from error
    finally:
        reading.close()
    loader = MigrationLoader(None)
    ours = {app for app, _ in loader.disk_migrations}
    newer = sorted(f"{app} {name}" for app, name in applied - set(loader.disk_migrations) if app in ours)
    if newer:
        raise ArchiveError(f"The archive was made by a newer version (it knows “{newer[0]}”): update first.")


class Command(BaseCommand):
    help = "Restore the studio in FILE into the data folder, after checking every byte of it."
    requires_system_checks: Any = []  # noqa: RUF012

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="an archive made by the command backup")
        parser.add_argument(
            "--replace", action="store_true", help="put the present studio aside, in a folder beside the data folder"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if connection.vendor != "sqlite":
            raise CommandError("This studio’s database is PostgreSQL: restore it with pg_restore or psql.")
        if Path(connection.settings_dict["NAME"]) != Path(settings.DATA_DIR) / DATABASE:
            raise CommandError("PASSAGEWORK_DATABASE names a database outside the data folder: unset it and try again.")
        connection.close()
        try:
            kept = restore(
                options["file"].expanduser().resolve(),
                Path(settings.DATA_DIR),
                replace=options["replace"],
                check_database=check_version,
            )
        except (ArchiveError, OSError) as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"Restored into {settings.DATA_DIR}.")
        if kept:
            self.stdout.write(f"The studio that was there is kept in {kept}.")
        self.stdout.write("`make run` brings the database up to date and serves it.")
