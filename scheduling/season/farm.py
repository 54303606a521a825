"""Set up the invented farm of `farm.toml` through the services, as its people would."""

from __future__ import annotations

import datetime as dt
import secrets
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from mixing.quantities import Quantity, parse_quantity
from orchard.blocks import services as ground
from orchard.blocks.models import Block
from orchard.crews import services as people
from orchard.crews.models import Crew, Sprayer, Worker
from orchard.farms import services as farms
from orchard.farms.actors import SYSTEM, Actor, Role
from orchard.farms.models import Farm
from orchard.inventory import services as store
from orchard.inventory.models import Movement, Product
from scheduling.season.cut import HERE
from scheduling.weather import WeatherDay

STATION = "Yeosu (KMA)"


@lru_cache(maxsize=1)
def written() -> Mapping[str, Any]:
    """Return what `farm.toml` says."""
    return tomllib.loads((HERE / "farm.toml").read_text(encoding="utf-8"))


@dataclass(slots=True)
class SeasonFarm:
    """The farm with its people, blocks, sprayers and products by name or key."""

    farm: Farm
    password: str
    actors: dict[Role, Actor] = field(default_factory=dict)
    emails: dict[Role, str] = field(default_factory=dict)
    workers: dict[str, Worker] = field(default_factory=dict)
    crew: Crew | None = None
    sprayers: dict[str, Sprayer] = field(default_factory=dict)
    blocks: dict[str, Block] = field(default_factory=dict)
    products: dict[str, Product] = field(default_factory=dict)

    @property
    def manager(self) -> Actor:
        """The owner, who manages the farm herself."""
        return self.actors[Role.OWNER]

    @property
    def storekeeper(self) -> Actor:
        """Who keeps the store."""
        return self.actors[Role.STOREKEEPER]

    @property
    def lead(self) -> Actor:
        """Who leads the crew."""
        return self.actors[Role.CREW_LEAD]


def quantity(raw: Mapping[str, str]) -> Quantity:
    """Return the quantity that a table of the file gives."""
    return parse_quantity(dict(raw))


def set_up(*, number: int, now: dt.datetime) -> SeasonFarm:
    """Make the farm with people, crew, sprayers, blocks and store.

    :param number: 1 for the first farm of this name on this machine; each has people of its own
    """
    farm = farms.add_farm(by=SYSTEM, now=now, **_farm(number))
    made = SeasonFarm(farm=farm, password=secrets.token_urlsafe(9))
    _people(made, number=number, now=now)
    _sprayers(made, now=now)
    _blocks(made, now=now)
    _store(made, now=now)
    return made


def _farm(number: int) -> dict[str, Any]:
    values = dict(written()["farm"])
    values["name"] += f" {number}" if number > 1 else ""
    return values


def _people(made: SeasonFarm, *, number: int, now: dt.datetime) -> None:
    for row in written()["person"]:
        if row.get("works"):
            made.workers[row["name"]] = _worker(made, row, now=now)
        first = row["name"].split()[0].lower()
        email = f"{first}{number if number > 1 else ''}@lowbell.example"
        member = farms.add_member(
            farm=made.farm,
            email=email,
            name=row["name"],
            role=row["role"],
            language=row.get("language", "en"),
            worker=made.workers.get(row["name"]),
            password=made.password if row.get("signs_in") else None,
            by=SYSTEM,
            now=now,
        )
        role = Role(row["role"])
        made.emails.setdefault(role, email)
        made.actors.setdefault(
            role,
            Actor(
                "person",
                member.person_id,
                member.name,
                role,
                language=member.language,
                worker=member.worker.id if member.worker else None,
            ),
        )
    crew = written()["crew"]
    made.crew = people.add_crew(
        farm=made.farm,
        name=crew["name"],
        members=[made.workers[name] for name in crew["members"]],
        lead=made.workers[crew["lead"]],
        by=made.manager,
        now=now,
    )


def _worker(made: SeasonFarm, row: Mapping[str, Any], *, now: dt.datetime) -> Worker:
    worker = people.add_worker(
        farm=made.farm,
        name=row["name"],
        adult=True,
        language=row.get("language", "en"),
        by=SYSTEM,
        now=now,
    )
    people.add_qualification(worker=worker, by=SYSTEM, now=now, **written()["training"])
    return worker


def _sprayers(made: SeasonFarm, *, now: dt.datetime) -> None:
    for row in written()["sprayer"]:
        sprayer = people.add_sprayer(
            farm=made.farm,
            name=row["name"],
            kind=row["kind"],
            tank=quantity(row["tank"]),
            materials=row["materials"],
            by=made.manager,
            now=now,
        )
        people.add_calibration(
            sprayer=sprayer,
            on=row["calibrated_on"],
            due_on=row["calibration_due_on"],
            operator=made.workers[written()["crew"]["lead"]],
            volume_per_tree=quantity(row["volume_per_tree"]),
            by=made.lead,
            now=now,
        )
        made.sprayers[row["name"]] = sprayer


def _blocks(made: SeasonFarm, *, now: dt.datetime) -> None:
    for row in written()["block"]:
        made.blocks[row["name"]] = ground.add_block(
            farm=made.farm,
            name=row["name"],
            crop=row["crop"],
            trees=row["trees"],
            row_spacing=quantity(row["row_spacing"]),
            tree_spacing=quantity(row["tree_spacing"]),
            planted_year=row.get("planted_year"),
            by=made.manager,
            now=now,
        )


def store_weather(made: SeasonFarm, *, days: tuple[WeatherDay, ...], now: dt.datetime) -> int:
    """Store the winter's days as observed; return how many."""
    rows = [
        {
            "on": day.on,
            "kind": "observed",
            "minimum": day.minimum,
            "maximum": day.maximum,
            "mean": day.mean,
            "rain": day.rain,
            "wind": day.wind,
            "humidity_percent": day.humidity_percent,
        }
        for day in days
    ]
    return ground.store_days(farm=made.farm, station=STATION, rows=rows, now=now).rows


def _store(made: SeasonFarm, *, now: dt.datetime) -> None:
    for row in written()["product"]:
        product = store.add_product(
            farm=made.farm, name=row["name"], stock_unit=row["stock_unit"], by=made.storekeeper, now=now
        )
        store.add_label(
            product=product,
            label=row["label"],
            effective_from=written()["labels_from"],
            by=made.storekeeper,
            now=now,
        )
        made.products[row["key"]] = product
    for row in written()["lot"]:
        receive(
            made,
            product=made.products[row["product"]],
            number=row["number"],
            amount=quantity(row["quantity"]),
            expires_on=row["expires_on"],
            reason="opening stock",
            now=now,
        )


def receive(
    made: SeasonFarm,
    *,
    product: Product,
    number: str,
    amount: Quantity,
    expires_on: dt.date,
    reason: str,
    now: dt.datetime,
    supplier: str | None = None,
) -> Movement:
    """Take a new lot in; return the line of the ledger."""
    lot = store.add_lot(
        farm=made.farm,
        product=product,
        number=number,
        expires_on=expires_on,
        location="chemical store",
        supplier=supplier,
        by=made.storekeeper,
        now=now,
    )
    return store.move(
        farm=made.farm,
        kind="receive",
        lot=lot,
        quantity=amount,
        reason=reason,
        by=made.storekeeper,
        now=now,
    )


def recipe(made: SeasonFarm, rate: str) -> list[dict[str, Any]]:
    """Return the products with one of their rates, `first_rate` or `rate`, as an order names them."""
    return [
        {"product": str(made.products[row["key"]].id), "rate": dict(row[rate])}
        for row in written()["product"]
    ]
