"""`manage.py adopt_programme`: take a published season plan over into a farm, or list what is shipped."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from mixing.quantities import QuantityError, parse_quantity
from orchard.farms.actors import SYSTEM
from orchard.farms.commands import FarmCommand, farm_of
from orchard.tasks import adopting
from orchard.tasks.examples import shipped


class Command(FarmCommand):
    help = (
        'Make a season plan of a published one and print {"id": …, "name": …, "lines": …}; --list names them.'
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--list", action="store_true", help="name the examples with their sources")
        parser.add_argument("--farm", help="id of the farm")
        parser.add_argument("--example", help="id of the example")
        parser.add_argument("--from", dest="starts_on", help="first day, 2026-11-01")
        parser.add_argument("--until", dest="ends_on", help="last day, 2027-05-31")
        parser.add_argument("--without", default="", help="keys of lines to leave out, with commas between")
        parser.add_argument("--volume-per-tree", help="spray per tree, such as '1.4 gal'")

    def do(self, **options: Any) -> dict[str, Any]:
        if options["list"]:
            return {"examples": [_told(one) for one in shipped().values()]}
        for name in ("farm", "example", "starts_on", "ends_on"):
            if not options[name]:
                raise CommandError("--farm, --example, --from and --until are needed, or --list")
        example = shipped().get(options["example"])
        if example is None:
            raise CommandError(f"there is no example {options['example']}: {', '.join(shipped())}")
        made = adopting.adopt(
            farm=farm_of(options["farm"]),
            example=example,
            starts_on=_day(options["starts_on"]),
            ends_on=_day(options["ends_on"]),
            terms=_terms(options),
            by=SYSTEM,
            now=timezone.now(),
        )
        return {"id": str(made.id), "name": made.name, "lines": [line["title"] for line in made.lines]}


def _told(example: Any) -> dict[str, Any]:
    sources = [f"{one['title']}, {one['publisher']}" for one in example.sources.values()]
    lines = {line.key: line.title for line in example.lines}
    return {"id": example.id, "title": example.title, "lines": lines, "sources": sources}


def _terms(options: dict[str, Any]) -> adopting.Terms:
    left_out = frozenset(one.strip() for one in options["without"].split(",") if one.strip())
    if not options["volume_per_tree"]:
        return adopting.Terms(left_out=left_out)
    value, _, name = options["volume_per_tree"].partition(" ")
    try:
        volume = parse_quantity({"value": value, "unit": name})
    except QuantityError as fault:
        raise CommandError(f"--volume-per-tree: {fault.detail}") from None
    if volume.dimension != "volume" or volume.value <= 0:
        raise CommandError("--volume-per-tree is a volume above zero, such as '1.4 gal'")
    return adopting.Terms(left_out=left_out, volume_per_tree=volume)


def _day(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise CommandError(f"{text} is no day: write 2026-11-01") from None
