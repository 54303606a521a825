"""One run: a farm with a store, sixteen phones, and servers that fail while they tell of their loads."""

from __future__ import annotations

import datetime as dt
import random
import time
from collections import Counter
from decimal import Decimal
from pathlib import Path

import django

django.setup()

from django.db import DatabaseError, connection, connections  # noqa: E402
from django.utils import timezone  # noqa: E402

from orchard.blocks.models import StageObservation  # noqa: E402
from orchard.config import preparation  # noqa: E402
from orchard.crews.models import Calibration  # noqa: E402
from orchard.farms.models import Farm, OutboxEvent  # noqa: E402
from orchard.inventory.models import Shortage  # noqa: E402
from tests import factories as made  # noqa: E402
from tests.callers import Caller  # noqa: E402
from tests.faults import crews, promises  # noqa: E402
from tests.faults.accidents import Accidents, Echo  # noqa: E402
from tests.faults.servers import Servers, eventually  # noqa: E402
from tests.inventory import store  # noqa: E402

LOADS_AN_ORDER = 20
SMALL_LOTS = 5
POUNDS_A_LOAD = 1.9
"""What a load takes on average: `Phone._used`."""
READY_SECONDS = 60
DRAINED_SECONDS, DRAINED_SECONDS_A_LOAD = 240, Decimal("0.12")
"""How long the outbox may take to empty: one farm's events are done one after the other."""
LABEL = {
    "name": "Copper hydroxide 46 WG",
    "active_ingredients": [
        {"name": "copper hydroxide", "content": {"value": "46", "unit": "percent_ww"}},
    ],
    "formulation": "WG",
    "uses": [
        {
            "crops": ["peach"],
            "rate": {"maximum": {"value": "1.6", "unit": "oz_wt/gal"}},
            "stages": [{"from": 93, "to": 53}],
            "re_entry": {"value": "48", "unit": "h"},
        }
    ],
}


def main(*, folder: Path, loads: int, writers: int, seed: int, accidents: int | None = None) -> int:
    """Run, print one line a promise, and return the exit status."""
    began = time.monotonic()
    preparation.prepare()
    servers = Servers(folder)
    try:
        chosen = Accidents(servers, loads=loads, number=accidents, chance=random.Random(seed))
        return _run(servers, chosen, loads=loads, writers=min(writers, loads), seed=seed, began=began)
    finally:
        servers.stop()
        for one in connections.all():
            one.close()


def _run(servers: Servers, accidents: Accidents, *, loads: int, writers: int, seed: int, began: float) -> int:
    servers.tend()
    shares = _shares(loads, writers)
    farm, called = _farm(servers, loads)
    places = [[_place(farm) for _ in share] for share in shares]
    echo = Echo(servers)
    if not eventually(servers.web_answers, seconds=READY_SECONDS):
        print(f"the web server did not start: {servers.folder / 'processes.log'}")
        return 1
    echo.start()
    ready = time.monotonic()
    told = crews.at_work(called, places, shares, seed=seed, meanwhile=accidents.happen)
    worked = time.monotonic()
    echo.look_at_all()
    drained_by = DRAINED_SECONDS + round(loads * DRAINED_SECONDS_A_LOAD)
    eventually(lambda: servers.tend() or _drained(farm), seconds=drained_by)
    eventually(lambda: len(echo.sent) >= OutboxEvent.objects.count(), seconds=10)
    echo.stop()
    drained = time.monotonic()
    found = promises.kept(farm=farm, told=told, loads=loads, echoed=len(echo.sent))
    for promise in found:
        print(promise.line())
    broken = sum(len(promise.violations) for promise in found)
    print(_told(accidents.happened, told, farm))
    print(
        f"seed {seed}: {loads} loads of {writers} phones in {worked - ready:.0f} s "
        f"({len(told.loads) / (worked - ready):.1f} a second), the outbox empty {drained - worked:.0f} s "
        f"later, {time.monotonic() - began:.0f} s in all"
    )
    return 1 if broken else 0


def _told(happened: Counter[str], told: crews.Told, farm: Farm) -> str:
    accidents = ", ".join(f"{kind} {times}" for kind, times in sorted(happened.items()))
    short = Shortage.objects.for_farm(farm).count()
    return f"accidents: {accidents}; {told.tries} requests, {told.again} loads told again, {short} shortages"


def _drained(farm: Farm) -> bool:
    try:
        return not OutboxEvent.objects.for_farm(farm).filter(processed_at=None, set_aside_at=None).exists()
    except DatabaseError:
        connection.close()
        return False


def _shares(loads: int, writers: int) -> list[list[int]]:
    """Return how many loads each order of each phone has."""
    shares = []
    for number in range(writers):
        mine = loads // writers + (number < loads % writers)
        whole, rest = divmod(mine, LOADS_AN_ORDER)
        shares.append([LOADS_AN_ORDER] * whole + ([rest] if rest else []))
    return shares


def _farm(servers: Servers, loads: int) -> tuple[Farm, crews.Farm]:
    """Return a farm with a product in lots that run out before the end, and one that never does."""
    farm = made.FarmFactory()
    product = made.ProductFactory(farm=farm, name=LABEL["name"])
    made.LabelVersionFactory(farm=farm, product=product, label=LABEL)
    little = round(loads * POUNDS_A_LOAD / (SMALL_LOTS + 1) * 0.7, 1)
    lots = [
        store.lot(product, str(little), number=f"C-{number}", expires_on=dt.date(2150, 1, 1 + number))
        for number in range(SMALL_LOTS)
    ]
    lots.append(store.lot(product, str(loads * 20), number="C-LAST", expires_on=dt.date(2160, 1, 1)))
    office, crew = Caller(farm, "manager"), Caller(farm, "crew_lead")
    called = crews.Farm(
        port=servers.web_port,
        path=f"/api/v1/farms/{farm.id}",
        office=office.secret,
        crew=crew.secret,
        product=str(product.id),
        lots=tuple(str(lot.id) for lot in lots),
    )
    return farm, called


def _place(farm: Farm) -> crews.Place:
    """Return a block of its own for an order, with a sprayer and a crew that may go there."""
    block = made.BlockFactory(farm=farm, crop="peach")
    worker = made.QualificationFactory(farm=farm).worker
    sprayer = made.SprayerFactory(farm=farm)
    now = timezone.now()
    common = {"farm": farm, "created_at": now, "updated_at": now}
    on = now.date() - dt.timedelta(days=1)
    StageObservation.objects.create(block=block, bbch=95, observed_on=on, **common)
    Calibration.objects.create(sprayer=sprayer, on=on, due_on=on + dt.timedelta(days=300), **common)
    crew = made.CrewFactory(farm=farm, members=[worker])
    return crews.Place(block=str(block.id), sprayer=str(sprayer.id), crew=str(crew.id))
