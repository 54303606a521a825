"""Take up again what was set aside: `manage.py replay_outbox`."""

from __future__ import annotations

import uuid
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from orchard.farms import outbox
from orchard.farms.commands import FarmCommand, farm_of


class Command(FarmCommand):
    help = "Make due again the events of the outbox that were set aside after too many failures."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--farm", metavar="ID", help="of one farm; of all if absent")
        parser.add_argument("--kind", help="of one kind, such as load.recorded")
        parser.add_argument(
            "--event", metavar="ID", type=uuid.UUID, action="append", help="this one; may be repeated"
        )

    def do(self, **options: Any) -> dict[str, Any]:
        farm = farm_of(options["farm"]) if options["farm"] else None
        replayed = outbox.replay(farm=farm, kind=options["kind"], ids=options["event"], now=timezone.now())
        return {"replayed": replayed}
