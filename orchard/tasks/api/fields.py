"""The fields of a mix and of what was observed, and how they are kept as JSON."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext_noop
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from mixing.quantities import Quantity
from orchard.api.fields import (
    QUANTITY_SCHEMA,
    Amount,
    DecimalText,
    Input,
    Moment,
    Reference,
    Text,
    Whole,
    YesNo,
)
from orchard.farms import journal
from orchard.inventory import queries as store

QUANTITIES = {"type": "array", "items": QUANTITY_SCHEMA}


class RatedProduct(Input):
    """A product of the farm and the rate that is meant."""

    product = Reference(store.products)
    rate = Amount(help_text="amount per volume, area, tree or row length; `percent_vv`, `ppm`")


class SprayInput(Input):
    """How much is to be sprayed, in one of four ways; `area` may stand beside each."""

    total = Amount("volume", required=False)
    area = Amount("area", required=False, help_text="ground treated; the block's where absent")
    volume_per_area = Amount("volume/area", required=False)
    dilute_volume_per_area = Amount("volume/area", required=False)
    trees = Whole(min_value=1, required=False)
    volume_per_tree = Amount("volume", required=False)
    row_length = Amount("length", required=False)
    volume_per_length = Amount("volume/length", required=False)


class WaterInput(Input):
    """The water to mix with."""

    ph = DecimalText(least="0", most="14", required=False, allow_null=True)
    hardness = Amount(sign="zero", required=False, allow_null=True, help_text="as calcium carbonate, `ppm`")
    temperature = Amount("temperature", sign="any", required=False, allow_null=True)


class ObservedInput(Input):
    """What was seen on the spot before the start."""

    wind = Amount("length/time", sign="zero", required=False)
    wind_direction = Whole(
        min_value=0,
        max_value=360,
        unit=gettext_noop("degrees"),
        required=False,
        allow_null=True,
        help_text="degrees",
    )
    temperature = Amount("temperature", sign="any", required=False)
    humidity_percent = DecimalText(least="0", most="100", unit="%", required=False, allow_null=True)
    rain_within_h = DecimalText(
        least="0",
        most="87840",
        unit=gettext_noop("hours"),
        required=False,
        allow_null=True,
        help_text="hours until rain",
    )
    minimum_next_24h = Amount("temperature", sign="any", required=False, allow_null=True)
    inversion = YesNo(required=False, allow_null=True)
    bbch = Whole(min_value=0, max_value=99, required=False, allow_null=True)
    flowers_open = YesNo(
        required=False, allow_null=True, help_text="any flower open in the block, of weeds too"
    )
    people_out = YesNo(required=False, help_text="false: somebody is still in the block")
    source = Text(  # type: ignore[assignment]
        max_length=200, required=False, allow_null=True, help_text="instrument or station"
    )
    read_at = Moment(
        past=True, required=False, allow_null=True, help_text="when it was read, at most 30 minutes before"
    )


@extend_schema_field({"type": "object", "additionalProperties": True})
class Kept(serializers.JSONField):
    """A part that is written out as it was kept."""


def as_said(value: Any) -> Any:
    """Return what a body said as JSON that can be kept: quantities, decimals, moments, ids of rows."""
    if isinstance(value, dict):
        return {name: as_said(one) for name, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [as_said(one) for one in value]
    if isinstance(value, Quantity):
        return value.as_json()
    return journal.as_json(value)
