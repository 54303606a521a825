"""`manage.py fit_forecast`: make the file of the stage model again from a folder of observations."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from scheduling.forecast import fit, places, stored, trials


class Command(BaseCommand):
    help = "Fit the stage model to the places of a folder and write its parameters, or compare other models."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--from", dest="source", type=Path, required=True, metavar="DIR", help="places to fit"
        )
        parser.add_argument("--to", type=Path, default=stored.FILE, metavar="FILE", help="where the fit goes")
        parser.add_argument(
            "--without",
            action="append",
            default=[],
            metavar="STATION",
            help="a place to leave out, such as one that a demonstration uses; may be given again",
        )
        parser.add_argument(
            "--trials",
            type=int,
            default=0,
            metavar="SPLITS",
            help="write nothing; fit each model to half of the places, forecast the rest, so many times",
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        try:
            found = places.read(options["source"])
            if options["trials"]:
                for line in trials.table(found, splits=options["trials"]):
                    self.stdout.write(line)
                return
            kept = [row for row, name in enumerate(found.names) if name not in options["without"]]
            fitted = fit.fit(found.only(kept), leads=stored.LEADS)
        except (places.NotPhenology, fit.TooLittleToFit) as reason:
            raise CommandError(str(reason)) from reason
        options["to"].write_text(stored.written(fitted), encoding="utf-8")
        self.stdout.write(
            f"{options['to']}: {len(fitted.kinds)} kinds of bud date from {fitted.places} places"
        )
