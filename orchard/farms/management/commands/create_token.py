"""`manage.py create_token`: make a token of a farm, print it this once."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from orchard.farms import services
from orchard.farms.actors import SYSTEM, Role
from orchard.farms.commands import FarmCommand, farm_of


class Command(FarmCommand):
    help = 'Make a token and print {"id": …, "token": …}.'

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--farm", required=True, help="id of the farm")
        parser.add_argument("--role", required=True, choices=[role.value for role in Role])
        parser.add_argument("--name", default="")
        parser.add_argument("--scopes", default="", help="for an integration: blocks:read,schedule:read,…")
        parser.add_argument("--days", type=int, help="days until it expires; 0: expired already")

    def do(self, **options: Any) -> dict[str, Any]:
        now, days = timezone.now(), options["days"]
        if days is not None and not 0 <= days <= 36500:
            raise CommandError("--days is a number from 0 to 36500")
        made = services.add_token(
            farm=farm_of(options["farm"]),
            name=options["name"] or f"{options['role']} token",
            role=options["role"],
            scopes=[scope.strip() for scope in options["scopes"].split(",") if scope.strip()],
            expires_at=None if days is None else now + dt.timedelta(days=days),
            by=SYSTEM,
            now=now,
        )
        return {"id": str(made.token.id), "token": made.secret}
