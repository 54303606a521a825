"""Write the whole database to a file: `manage.py backup --to FILE`."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from orchard.config import backup


class Command(BaseCommand):
    help = "Write every row of every farm to one file, with checksums; others may go on writing meanwhile."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--to", type=Path, required=True, metavar="FILE", help="must not be there yet")

    def handle(self, *_args: Any, **options: Any) -> None:
        to: Path = options["to"]
        if to.exists():
            raise CommandError(f"{to} is there already: name another file.")
        try:
            made = backup.write(to=to, now=timezone.now())
        except OSError as failure:
            raise CommandError(f"{to} cannot be written: {failure}.") from failure
        rows = sum(table["rows"] for table in made["tables"])
        self.stdout.write(f"{to}: {rows} rows of {len(made['tables'])} tables, {to.stat().st_size} bytes.")
