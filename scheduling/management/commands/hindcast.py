"""`manage.py hindcast`: how many seasons of peach the forecast would have saved, beside simple rules."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from scheduling.forecast import fit, hindcast, places


class Command(BaseCommand):
    help = (
        "Play the springs of peach at the places of one folder again, by a model fitted to those of another."
    )
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--train", type=Path, required=True, metavar="DIR", help="places to fit")
        parser.add_argument("--test", type=Path, required=True, metavar="DIR", help="places to play")

    def handle(self, *_args: Any, **options: Any) -> None:
        try:
            found = hindcast.hindcast(places.read(options["train"]), places.read(options["test"]))
        except (places.NotPhenology, fit.TooLittleToFit) as reason:
            raise CommandError(str(reason)) from reason
        for line in hindcast.table(found):
            self.stdout.write(line)
        self.stdout.write(
            f"\n{found.seasons} springs of peach; {found.left_out} more have too little weather to say which "
            f"days were open.\n{hindcast.LEGEND}"
        )
