"""Invented farms, people and things to test with."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import Any

import factory
from factory.django import DjangoModelFactory

from mixing.quantities import Quantity
from orchard.blocks.models import Block
from orchard.crews.models import Crew, Qualification, Sprayer, Worker
from orchard.farms.models import Farm, Membership, Person
from orchard.inventory.models import LabelVersion, Lot, Product

LONG_AGO = dt.datetime(2020, 1, 1, tzinfo=dt.UTC)


def amount(value: str, unit: str) -> Quantity:
    """Return a quantity, shortly."""
    return Quantity(Decimal(value), unit)


class FarmFactory(DjangoModelFactory):
    name = factory.Sequence(lambda n: f"Farm {n}")
    zone = "America/Los_Angeles"
    units = "us"
    region = "US-CA"
    measures = ["tbsp", "tsp", "cup", "fl_oz", "oz_wt", "lb"]
    created_at = LONG_AGO
    updated_at = LONG_AGO
    created_by_kind = "system"
    created_by_name = "background work"

    class Meta:
        model = Farm


class Owned(DjangoModelFactory):
    """A row of a farm; rows made together share the farm of the first."""

    farm = factory.SubFactory(FarmFactory)
    created_at = LONG_AGO
    updated_at = LONG_AGO
    created_by_kind = "system"
    created_by_name = "background work"

    class Meta:
        abstract = True


class PersonFactory(DjangoModelFactory):
    email = factory.Sequence(lambda n: f"person{n}@farm.example")
    name = factory.Sequence(lambda n: f"Person {n}")

    class Meta:
        model = Person


class MembershipFactory(Owned):
    person = factory.SubFactory(PersonFactory)
    name = factory.SelfAttribute("person.name")
    role = "manager"

    class Meta:
        model = Membership


class BlockFactory(Owned):
    name = factory.Sequence(lambda n: f"Block {n}")
    crop = "peach"
    area = amount("1", "acre")
    trees = 100

    class Meta:
        model = Block


class WorkerFactory(Owned):
    name = factory.Sequence(lambda n: f"Worker {n}")
    adult = True

    class Meta:
        model = Worker


class QualificationFactory(Owned):
    worker = factory.SubFactory(WorkerFactory, farm=factory.SelfAttribute("..farm"))
    kind = "handler_training"
    obtained_on = dt.date(2020, 1, 1)
    expires_on = dt.date(2100, 1, 1)

    class Meta:
        model = Qualification


class CrewFactory(Owned):
    name = factory.Sequence(lambda n: f"Crew {n}")

    class Meta:
        model = Crew
        skip_postgeneration_save = True

    @factory.post_generation
    def members(self, create: bool, extracted: Any, **kwargs: Any) -> None:
        if extracted:
            self.members.set(extracted)  # type: ignore[attr-defined]


class SprayerFactory(Owned):
    name = factory.Sequence(lambda n: f"Sprayer {n}")
    kind = "handgun"
    tank = amount("50", "gal")

    class Meta:
        model = Sprayer


class ProductFactory(Owned):
    name = factory.Sequence(lambda n: f"Product {n}")
    stock_unit = "lb"
    base_unit = "g"

    class Meta:
        model = Product


class LabelVersionFactory(Owned):
    product = factory.SubFactory(ProductFactory, farm=factory.SelfAttribute("..farm"))
    label = factory.LazyAttribute(lambda row: {"name": row.product.name})
    effective_from = dt.date(2020, 1, 1)

    class Meta:
        model = LabelVersion


class LotFactory(Owned):
    product = factory.SubFactory(ProductFactory, farm=factory.SelfAttribute("..farm"))
    number = factory.Sequence(lambda n: f"L-{n}")

    class Meta:
        model = Lot
