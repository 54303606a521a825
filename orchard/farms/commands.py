"""What the commands at the console share: one JSON object on success, one sentence on failure."""

from __future__ import annotations

import json
import uuid
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from orchard.api.refusals import Refusal
from orchard.farms.models import Farm


class FarmCommand(BaseCommand):
    """A command whose refusals are one sentence and exit status 1. Write `do`."""

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            made = self.do(**options)
        except Refusal as refusal:
            raise CommandError(str(refusal)) from None
        self.stdout.write(json.dumps(made))

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
