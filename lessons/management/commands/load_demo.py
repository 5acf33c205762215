"""Load the demonstration studio into an empty data folder."""

from __future__ import annotations

import secrets
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from lessons.demo import DemoError, load_demo
from studio.models import Teacher


class Command(BaseCommand):
    help = (
        "Load the invented demonstration studio. Run again it changes nothing; it refuses a folder "
        "that holds a real studio."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--password", help="for the demonstration’s teachers; made up when left out")

    def handle(self, *args: Any, **options: Any) -> None:
        password = options["password"] or secrets.token_urlsafe(9)
        verbose = options["verbosity"] > 1
        try:
            loaded = load_demo(
                password,
                self.stdout.write if verbose else lambda words: None,
                home=settings.ADDRESS or ("" if settings.BIND.startswith("unix:") else f"http://{settings.BIND}"),
                tell=self.stdout.write,
            )
        except DemoError as error:
            raise CommandError(str(error)) from None
        if loaded:
            teacher, colleague = Teacher.objects.order_by("id")
            self.stdout.write(f"Sign in as {teacher.email} with the password {password}")
            self.stdout.write(f"A colleague of hers signs in as {colleague.email} with the same password")
        else:
            self.stdout.write("The demonstration is loaded already; nothing was changed.")
