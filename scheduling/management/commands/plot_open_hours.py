"""`manage.py plot_open_hours`: the open hours of a fortnight for one work order, as SVG and as a table."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from orchard.farms.commands import FarmCommand, farm_of
from orchard.tasks import queries, windows
from scheduling.order_windows import windows_for
from scheduling.plots import open_hours


class Command(FarmCommand):
    help = "Draw the open and closed hours of a work order, from the stored weather hours, from now on."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--farm", required=True, help="id of the farm")
        parser.add_argument("--order", required=True, help="id of the work order")
        parser.add_argument("--out", required=True, help="where the SVG is written")
        parser.add_argument("--table", help="where the numbers are written too, tab separated")

    def do(self, **options: Any) -> dict[str, Any]:
        farm = farm_of(options["farm"])
        order = queries.work_orders(farm=farm).filter(id=options["order"]).first()
        if order is None:
            raise CommandError(f"there is no work order {options['order']} on this farm")
        found = windows_for(**windows.asked(order=order, now=timezone.now()))
        Path(options["out"]).write_text(open_hours.svg(found, title=order.title), encoding="utf-8")
        if options["table"]:
            Path(options["table"]).write_text(open_hours.as_text(found), encoding="utf-8")
        return {"out": options["out"], "days": len(open_hours.table(found))}
