"""Put a backup into an empty database: `manage.py restore --from FILE`."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from orchard.config import preparation, restoring


class Command(BaseCommand):
    help = "Put back what `backup` wrote, into an empty database alone; then follow every ledger."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--from", dest="source", type=Path, required=True, metavar="FILE")

    def handle(self, *_args: Any, **options: Any) -> None:
        try:
            manifest = restoring.restore(source=options["source"])
        except (restoring.CannotRestore, preparation.CannotPrepare, OSError) as reason:
            raise CommandError(str(reason)) from reason
        rows = sum(table["rows"] for table in manifest["tables"])
        self.stdout.write(f"{rows} rows of {manifest['made_at']} are back, and every ledger holds.")
