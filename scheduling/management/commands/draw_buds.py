"""`manage.py draw_buds`: a block's forecast and season as pictures, each with a table of its numbers."""

from __future__ import annotations

import csv
import uuid
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from orchard.blocks.models import Block
from scheduling import pictures
from scheduling.plots.picture import Picture


class Command(BaseCommand):
    help = "Draw the latest forecast of a block and its season as SVG, with a CSV of the numbers beside each."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--block", type=uuid.UUID, required=True, metavar="ID", help="id of the block")
        parser.add_argument("--to", type=Path, required=True, metavar="DIR", help="where the files go")

    def handle(self, *_args: Any, **options: Any) -> None:
        block = Block.objects.select_related("farm").filter(id=options["block"]).first()
        if block is None:
            raise CommandError(f"no block {options['block']}")
        drawn = pictures.of_block(block=block)
        if not drawn:
            raise CommandError(f"nothing is forecast for {block.name} yet")
        if "season" not in drawn:
            raise CommandError("no weather of this season is known")
        options["to"].mkdir(parents=True, exist_ok=True)
        for name, picture in drawn.items():
            self._write(options["to"] / name, picture)

    def _write(self, path: Path, picture: Picture) -> None:
        path.with_suffix(".svg").write_text(picture.svg, encoding="utf-8")
        with path.with_suffix(".csv").open("w", encoding="utf-8", newline="") as file:
            rows = csv.writer(file, lineterminator="\n")
            rows.writerow(picture.heads)
            rows.writerows(picture.rows)
        self.stdout.write(f"{path.with_suffix('.svg')} and {path.with_suffix('.csv').name}")
