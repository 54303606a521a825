"""What the commands at the console share: one JSON object on success, one sentence on failure."""

from __future__ import annotations

import io
import json
import uuid
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import ProgrammingError

from orchard.api.refusals import Refusal
from orchard.farms.models import Farm

NOT_READY = ("42P01", "42501")  # no such table; no right to it yet, while another process prepares


class FarmCommand(BaseCommand):
    """A command whose refusals are one sentence and exit status 1. Write `do`."""

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            made = self._with_tables(**options)
        except Refusal as refusal:
            raise CommandError(str(refusal)) from None
        self.stdout.write(json.dumps(made))

    def _with_tables(self, **options: Any) -> dict[str, Any]:
        """Do it; on a machine where nothing has been started yet, prepare the database first."""
        try:
            return self.do(**options)
        except ProgrammingError as error:
            if getattr(error.__cause__, "sqlstate", None) not in NOT_READY:
                raise
        call_command("prepare_database", stdout=io.StringIO())
        return self.do(**options)

    def do(self, **options: Any) -> dict[str, Any]:
        """Do it; return what is printed."""
        raise NotImplementedError


def farm_of(text: str) -> Farm:
    """Return the farm with that id.

    :raises CommandError: where there is none
    """
    try:
        found = Farm.objects.filter(id=uuid.UUID(text)).first()
    except ValueError:
        found = None
    if found is None:
        raise CommandError(f"there is no farm {text}: create_farm prints the id of the one it makes")
    return found
