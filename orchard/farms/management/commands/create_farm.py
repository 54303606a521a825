"""`manage.py create_farm`: make a farm, print its id."""

from __future__ import annotations

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from orchard.farms import services
from orchard.farms.actors import SYSTEM
from orchard.farms.commands import FarmCommand


class Command(FarmCommand):
    help = 'Make a farm and print {"id": …}.'

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--name", required=True)
        parser.add_argument("--zone", required=True, help="IANA name, such as America/Los_Angeles")
        parser.add_argument("--units", required=True, choices=["us", "metric"])
        parser.add_argument("--region", required=True, help="ISO 3166, such as US-CA")

    def do(self, **options: Any) -> dict[str, Any]:
        asked = {name: options[name] for name in ("name", "zone", "units", "region")}
        farm = services.add_farm(by=SYSTEM, now=timezone.now(), **asked)
        return {"id": str(farm.id)}
