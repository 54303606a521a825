"""`manage.py score_forecast`: fit on some places, forecast the past of others, and say how far off it was."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from scheduling.forecast import fit, places, score


class Command(BaseCommand):
    help = "Forecast the bud dates of the places in one folder by a model fitted to those in another."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--train", type=Path, required=True, metavar="DIR", help="places to fit")
        parser.add_argument("--test", type=Path, required=True, metavar="DIR", help="places to forecast")
        parser.add_argument("--leads", default="28,14,7", help="days before the place's mean date, 28,14,7")
        parser.add_argument("--out", type=Path, required=True, metavar="FILE", help="where the rows go, CSV")

    def handle(self, *_args: Any, **options: Any) -> None:
        began, leads = time.monotonic(), leads_of(options["leads"])
        try:
            train, test = places.read(options["train"]), places.read(options["test"])
            fitted = fit.fit(train, leads=leads)
        except (places.NotPhenology, fit.TooLittleToFit) as reason:
            raise CommandError(str(reason)) from reason
        scored = score.score(fitted, test, leads)
        try:
            many = score.write(scored, options["out"])
        except OSError as reason:
            raise CommandError(f"{options['out']} cannot be written: {reason.strerror}") from reason
        for line in score.table(score.lines(scored, leads)):
            self.stdout.write(line)
        self.stdout.write(
            f"\n{many} forecasts for {len(test.names)} places, by a fit to {fitted.places} others, in "
            f"{time.monotonic() - began:.0f} s.\n{score.LEGEND}"
        )
        common = sorted(set(train.names) & set(test.names))
        if common:
            self.stdout.write(
                f"Not a fair test: {len(common)} places are in both folders, such as {', '.join(common[:5])}."
            )


def leads_of(said: str) -> tuple[int, ...]:
    """Return the leads that were said.

    :raises CommandError: for anything but whole days above nothing
    """
    try:
        leads = tuple(dict.fromkeys(int(one) for one in said.split(",")))
    except ValueError:
        leads = ()
    if not leads or min(leads) < 1 or max(leads) > 120:
        raise CommandError(f"--leads {said}: whole days from 1 to 120 are wanted, such as 28,14,7")
    return leads
