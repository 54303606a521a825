"""`manage.py demo`: a season of an invented farm on real weather, told from the rows that it leaves."""

from __future__ import annotations

import datetime as dt
import os
import sys
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from orchard.config import preparation
from orchard.farms import services as farms
from orchard.farms.actors import SYSTEM, Role
from orchard.farms.models import Farm
from scheduling.season import looking_back, run, setting, telling
from scheduling.season.farm import SeasonFarm, written

TOKEN_LIVES = dt.timedelta(days=30)
READS = ("blocks:read", "inventory:read", "mixes:read", "tasks:read", "schedule:read", "records:read")
ADDRESS = "http://127.0.0.1:8000"


class Command(BaseCommand):
    help = (
        "Take an invented farm through one real winter; what it did stays, to look at with `manage.py serve`."
    )
    requires_system_checks = []

    def handle(self, *_args: Any, **_options: Any) -> None:
        try:
            preparation.prepare()
        except preparation.CannotPrepare as reason:
            raise CommandError(str(reason)) from reason
        number = 1 + Farm.objects.filter(name__startswith=written()["farm"]["name"]).count()
        season = setting.begin(number=number, out=self.stdout.write)
        run.live(season)
        run.close(season)
        looking_back.look_back(season)
        self._what_next(season.made)

    def _what_next(self, made: SeasonFarm) -> None:
        """Say what to open, with a token that reads and works for a month."""
        now = timezone.now()
        token = farms.add_token(
            farm=made.farm,
            name="demonstration",
            role=Role.INTEGRATION,
            scopes=READS,
            expires_at=now + TOKEN_LIVES,
            by=SYSTEM,
            now=now,
        )
        owner, lead = made.emails[Role.OWNER], made.emails[Role.CREW_LEAD]
        records = f"{ADDRESS}/api/v1/farms/{made.farm.id}/application-records"
        for line in (
            "\nWhat to open next",
            f"  {os.path.relpath(sys.executable)} manage.py serve",
            f"  {ADDRESS}/          sign in as {owner} or {lead}, password {made.password}",
            f"  {ADDRESS}/api/v1/docs   the API, address by address",
            "  The records of the season, as a program reads them (the token reads, and ends in 30 days):",
            f"  curl -s -H 'Authorization: Bearer {token.secret}' {records}",
        ):
            self.stdout.write(line)
        self.stdout.write(telling.CAUTION)
