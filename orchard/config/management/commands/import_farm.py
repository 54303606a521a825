"""Take over a farm from a file: `manage.py import_farm --from FILE.zip [--farm ID]`."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from orchard.config import farm_import
from orchard.farms.commands import FarmCommand, farm_of


class Command(FarmCommand):
    help = "Put what `export_farm` wrote into an empty farm, or a new one; print its id."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--from", dest="source", required=True, type=Path, metavar="FILE")
        parser.add_argument("--farm", metavar="ID", help="an empty farm; absent: one is made")

    def do(self, **options: Any) -> dict[str, Any]:
        farm = farm_of(options["farm"]) if options["farm"] else None
        try:
            taken = farm_import.take_over(source=options["source"], farm=farm, now=timezone.now())
        except (farm_import.CannotImport, OSError) as reason:
            raise CommandError(str(reason)) from reason
        return {"id": str(taken.id)}
