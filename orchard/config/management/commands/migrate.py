"""Django's `migrate`, by default as the role that owns the tables."""

from typing import Any

from django.core.management.base import CommandParser
from django.core.management.commands import migrate

from orchard.config import preparation


class Command(migrate.Command):
    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.set_defaults(database="owner")

    def handle(self, *args: Any, **options: Any) -> None:
        super().handle(*args, **options)
        if options["database"] == "owner":
            preparation.grant_rows()
