"""Writing what the places of the store are like."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator, Mapping
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.inventory.models import Lot, StorePlace

CHECKED = ("cabinet", "level", "temperature_minimum", "temperature_maximum")


def add_place(
    *, farm: Farm, name: str, by: Actor, now: dt.datetime, id: uuid.UUID | None = None, **values: Any
) -> StorePlace:
    """Add a place, named as lots say their location.

    :raises Unprocessable: a level without its cabinet, a coldest above the hottest
    :raises Conflict: `place_exists`
    """
    _refuse(_faults(values))
    with transaction.atomic():
        _only_one(farm=farm, name=name)
        return journal.create(StorePlace, farm=farm, by=by, now=now, id=id, name=name, **values)


def change_place(*, place: StorePlace, by: Actor, now: dt.datetime, **values: Any) -> StorePlace:
    """Change what is said of a place. The caller holds its lock.

    :raises Unprocessable: as `add_place`
    :raises Conflict: `place_exists`; `in_use` where lots say the name that would go
    """
    _refuse(_faults({name: values.get(name, getattr(place, name)) for name in CHECKED}))
    name = values.get("name", place.name)
    if name != place.name:
        _only_one(farm=place.farm, name=name)
        _nothing_there(place)
    journal.change(place, by=by, now=now, **values)
    return place


def remove_place(*, place: StorePlace, by: Actor, now: dt.datetime) -> None:
    """Delete a place where nothing stands. The caller holds its lock.

    :raises Conflict: `in_use`
    """
    _nothing_there(place)
    journal.delete(place, by=by, now=now)


def _faults(values: Mapping[str, Any]) -> Iterator[Fault]:
    if values.get("level") is not None and not values.get("cabinet"):
        yield Fault("required", _("a level is one of a cabinet: name the cabinet"), "/cabinet")
    low, high = values.get("temperature_minimum"), values.get("temperature_maximum")
    if low is not None and high is not None and low.to("degC").value > high.to("degC").value:
        yield Fault("out_of_range", _("the coldest lies above the hottest"), "/temperature_minimum")


def _refuse(faults: Iterator[Fault]) -> None:
    if found := list(faults):
        raise Unprocessable(*found)


def _only_one(*, farm: Farm, name: str) -> None:
    if found := StorePlace.objects.for_farm(farm).filter(name=name).first():
        refers = ("store_place", str(found.id))
        raise Conflict(
            Fault(
                "place_exists",
                _("there is a place %(name)s already") % {"name": name},
                "/name",
                refers_to=refers,
            )
        )


def _nothing_there(place: StorePlace) -> None:
    rows = Lot.objects.for_farm(place.farm).filter(location=place.name, archived=False)
    if lot := rows.first():
        detail = _("lots say that they are at %(place)s, such as %(lot)s: bring them elsewhere first") % {
            "place": place.name,
            "lot": lot.number,
        }
        raise Conflict(Fault("in_use", detail, "/name", refers_to=("lot", str(lot.id))))
