"""How the store writes amounts, and how it reads a label."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

from mixing.faults import TOP, MixRequestError
from mixing.label_reading import read_label
from mixing.quantities import plain
from mixing.reading import Reader
from orchard.api.fields import QUANTITY_SCHEMA, Amount, DecimalText, Input, Text, wrong
from orchard.api.refusals import Fault, NotThere
from orchard.api.spoken import language
from orchard.farms.actors import Role
from orchard.farms.endpoint import Endpoint
from orchard.inventory import amounts, queries
from orchard.inventory.models import Product


@extend_schema_field(QUANTITY_SCHEMA)
class EveryDigit(serializers.Field):
    """A quantity as it was entered, with every digit that was kept."""

    def to_representation(self, value: Any) -> dict[str, str]:
        return amounts.shown(value)


@extend_schema_field({"type": "object", "description": "a label as in the mix check"})
class LabelField(serializers.JSONField):
    """A label, read by the engine that will check mixes with it; its faults stand where they are."""

    def to_internal_value(self, data: Any) -> Any:
        read = Reader(language())
        read_label(data, TOP, read)
        try:
            read.faults.refuse()
        except MixRequestError as faulty:
            raise ValidationError(_nested(faulty.errors)) from None
        return data


class PriceInput(Input):
    """What an amount of a product costs."""

    amount = DecimalText(least="0", most="1000000000", help_text="of money, in plain digits")
    currency = Text(max_length=3, help_text="ISO 4217, such as USD")
    per = Amount(*amounts.DIMENSIONS, help_text="the amount of product that this buys")

    def validate_currency(self, value: str) -> str:
        if not (len(value) == 3 and value.isascii() and value.isalpha() and value.isupper()):
            raise wrong(_("is a code of three capital letters (ISO 4217), such as USD"))
        return value


class PriceField(PriceInput):
    """The same, kept as JSON."""

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        said = super().to_internal_value(data)
        return {
            "amount": plain(said["amount"]),
            "currency": said["currency"],
            "per": said["per"].as_json(),
        }

    def to_representation(self, instance: Any) -> Any:
        return instance


def may_see_prices(by: Any) -> bool:
    """Return whether somebody is shown what things cost: everyone but a crew member."""
    return by.role != Role.CREW_MEMBER


def _nested(errors: list[dict[str, str]]) -> Any:
    """Return faults with pointers as the framework nests them; two at one place stand side by side."""
    if any(not error["pointer"] for error in errors):
        return [ErrorDetail(error["detail"], code=error["code"]) for error in errors]
    top: dict[str, Any] = {}
    for error in errors:
        *way, last = (step.replace("~1", "/").replace("~0", "~") for step in error["pointer"][1:].split("/"))
        place = top
        for step in way:
            inner = place.setdefault(step, {})
            if isinstance(inner, list):  # the whole is at fault: what is inside it tells no more
                break
            place = inner
        else:
            there = place.setdefault(last, [])
            if isinstance(there, list):
                there.append(ErrorDetail(error["detail"], code=error["code"]))
    return top


class InStore(Endpoint):
    """An address of the store, which knows what day it is on the farm."""

    def today(self) -> dt.date:
        """Return the day it is on the farm."""
        return queries.day_on_farm(farm=self.farm, at=self.now)

    def context(self) -> dict[str, Any]:
        return {**super().context(), "today": self.today()}


class BelowProduct(InStore):
    """An address below one product."""

    product: Product

    def find(self, **kwargs: Any) -> None:
        found = queries.products(farm=self.farm).filter(id=kwargs["product"]).first()
        if found is None:
            raise NotThere(Fault("not_found", _("there is no such product on this farm")))
        self.product = found
        super().find(**kwargs)
