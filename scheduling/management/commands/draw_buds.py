"""`manage.py draw_buds`: a block's forecast and season as pictures, each with a table of its numbers."""

from __future__ import annotations

import csv
import datetime as dt
import uuid
import zoneinfo
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from orchard.blocks import queries
from orchard.blocks.models import Block
from orchard.tasks import queries as records
from scheduling import buds
from scheduling.forecast import Event, Forecast, last_safe_day
from scheduling.plots.forecast import forecast_picture
from scheduling.plots.picture import Picture
from scheduling.plots.season import Mark, season_picture


class Command(BaseCommand):
    help = "Draw the latest forecast of a block and its season as SVG, with a CSV of the numbers beside each."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--block", type=uuid.UUID, required=True, metavar="ID", help="id of the block")
        parser.add_argument("--to", type=Path, required=True, metavar="DIR", help="where the files go")

    def handle(self, *_args: Any, **options: Any) -> None:
        block = Block.objects.select_related("farm").filter(id=options["block"]).first()
        if block is None:
            raise CommandError(f"no block {options['block']}")
        forecasts = [
            Forecast(Event(row.event), row.predicted, row.low80, row.high80, row.issued_on, row.model, 0, "")
            for row in queries.forecasts(block=block)
        ]
        if not forecasts:
            raise CommandError(f"nothing is forecast for {block.name} yet")
        options["to"].mkdir(parents=True, exist_ok=True)
        burst = [one for one in forecasts if one.event == Event.BUDBURST]
        safe = last_safe_day(burst).on if burst else None
        self._write(options["to"] / "forecast", forecast_picture(forecasts, block=block.name, last_safe=safe))
        self._write(options["to"] / "season", _season(block, forecasts))

    def _write(self, path: Path, picture: Picture) -> None:
        path.with_suffix(".svg").write_text(picture.svg, encoding="utf-8")
        with path.with_suffix(".csv").open("w", encoding="utf-8", newline="") as file:
            rows = csv.writer(file, lineterminator="\n")
            rows.writerow(picture.heads)
            rows.writerows(picture.rows)
        self.stdout.write(f"{path.with_suffix('.svg')} and {path.with_suffix('.csv').name}")


def _season(block: Block, forecasts: list[Forecast]) -> Picture:
    issued = forecasts[0].issued_on
    first = dt.date(issued.year - (issued.month < 10), 10, 1)
    known = buds.weather_of(block.farm, issued_on=issued).observed
    days = [day for day in known if first <= day.on <= issued]
    if not days:
        raise CommandError("no weather of this season is known")
    rain = [
        (row.on, float(row.rain.to("mm").value))
        for row in queries.days(farm=block.farm, since=first, until=issued).filter(kind="observed")
        if row.rain is not None
    ]
    zone = zoneinfo.ZoneInfo(block.farm.zone)
    looks = queries.stages(block=block).filter(observed_on__range=(first, issued)).order_by("observed_on")
    seen = [Mark(look.observed_on, str(look.bbch)) for look in looks]
    return season_picture(
        block=block.name,
        days=sorted(days, key=lambda day: day.on),
        rain=rain,
        seen=seen,
        sprays=_sprays(block, first, issued, zone),
        forecasts=forecasts,
    )


def _sprays(block: Block, first: dt.date, last: dt.date, zone: zoneinfo.ZoneInfo) -> list[Mark]:
    days = [record.finished_at.astimezone(zone).date() for record in records.current_on(block=block)]
    return [Mark(on, "spray") for on in sorted(days) if first <= on <= last]
