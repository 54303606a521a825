"""A farm on the day of a spray, and the people with a phone on it."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.utils import timezone

from orchard.farms.actors import SYSTEM
from orchard.tasks.services import issue
from tests.tasks.lowbell import Lowbell, draft, lowbell
from tests.web.people import member

PASSWORD = "four plum stones"
TITLE = "Leaf-fall copper, House Row"


def spray_day() -> Lowbell:
    """Return the farm; it has been morning for an hour."""
    return lowbell(now=timezone.now() - dt.timedelta(hours=1))


def given(farm: Lowbell, **more: Any) -> Any:
    """Return an order of two loads by backpack that the crew may take on."""
    more = {"total": "6", "sprayer": farm.backpack, "title": TITLE, **more}
    return issue.issue(order=draft(farm, farm.a3, **more), by=SYSTEM, now=farm.now)


def somebody(farm: Lowbell, **more: Any) -> Any:
    """Return somebody of the crew who can sign in."""
    one = member(farm.farm, **{"worker": farm.lead, **more})
    one.person.set_password(PASSWORD)
    one.person.save()
    return one.person
