"""Write a whole farm to a file: `manage.py export_farm --farm ID --to FILE.zip`."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from orchard.config import farm_export
from orchard.farms.commands import FarmCommand, farm_of


class Command(FarmCommand):
    help = "Write all rows of a farm as JSON, CSV and GeoJSON into one zip; print how many."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--farm", required=True, metavar="ID")
        parser.add_argument("--to", required=True, type=Path, metavar="FILE", help="must not be there yet")

    def do(self, **options: Any) -> dict[str, Any]:
        farm, to = farm_of(options["farm"]), options["to"]
        try:
            with to.open("xb") as file:
                made = farm_export.write(farm=farm, to=file, now=timezone.now())
        except OSError as failure:
            raise CommandError(f"{to} cannot be written: {failure}") from failure
        rows = sum(one.get("rows", 0) for name, one in made["files"].items() if name.startswith("rows/"))
        return {"id": str(farm.id), "rows": rows}
