"""The fields of a calculation that are quantities: how each is read, and how it is described.

Descriptions are JSON Schema 2020-12. Bare numbers and words are in `bare`, lists and records in `lists`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from mixing.calculations.exact import amount
from mixing.catalogue import said
from mixing.faults import Place
from mixing.quantities import Quantity
from mixing.reading import AMOUNT_PER_AREA, CONTENT, DENSITY, NOT_A_RATE, RATE, TIME, VOLUME_PER_AREA, Reader

Read = Callable[[Reader, object, Place], object | None]
Schema = Mapping[str, object]

DECIMAL = r"^-?\d+(\.\d+)?$"
LOWEST_AIR, HIGHEST_AIR = 50, 110
"""Pressure of the air where fruit grows [kPa]: 5,500 m up to below the sea. Common practice, no source."""

QUANTITY_SCHEMA: Schema = {
    "type": "object",
    "properties": {
        "value": {"type": "string", "pattern": DECIMAL, "description": "a decimal in plain digits"},
        "unit": {"type": "string", "description": "the name of a unit, such as gal, lb/acre, percent_vv"},
    },
    "required": ["value", "unit"],
    "additionalProperties": False,
}


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a request: its name, what it is, how it is read and described."""

    name: str
    about: str
    read: Read
    schema: Schema
    required: bool = True

    def optional(self, about: str | None = None) -> Field:
        """Return the same field as one that may be left out."""
        return replace(self, required=False, about=about or self.about)

    def mandatory(self) -> Field:
        """Return the same field as one that must be given."""
        return replace(self, required=True)

    def named(self, name: str, about: str | None = None) -> Field:
        """Return the same field under another name."""
        return replace(self, name=name, about=about or self.about)

    def described(self) -> dict[str, object]:
        """Return its JSON schema."""
        return {"description": self.about, **self.schema}


def read_field(reader: Reader, field: Field, fields: Mapping[str, object], at: Place) -> object | None:
    """Return what one field of an object says, with a fault where it is required and missing."""
    raw, here = fields.get(field.name), (at, field.name)
    if raw is None:
        if field.required:
            reader.faults.add(
                here, "required", said("fault.field_missing", field=field.name, about=field.about)
            )
        return None
    return field.read(reader, raw, here)


def object_schema(parts: Sequence[Field]) -> dict[str, object]:
    """Return the JSON schema of an object with these fields."""
    return {
        "type": "object",
        "properties": {part.name: part.described() for part in parts},
        "required": [part.name for part in parts if part.required],
        "additionalProperties": False,
    }


def _measures(dimensions: Sequence[str]) -> Schema:
    return {"$ref": "#/$defs/quantity", "x-measures": list(dimensions)}


def read_quantity(
    reader: Reader, raw: object, at: Place, dimensions: tuple[str, ...], *, zero: bool = False
) -> Quantity | None:
    """Return a quantity above zero, or of zero and more, with a fault where it is not."""
    found = reader.quantity(raw, at, dimensions, signed=True)
    if found is None or found.value > 0 or (zero and not found.value):
        return found
    reader.faults.add(
        (at, "value"), "out_of_range", said("fault.must_be", limits="zero or more" if zero else "above zero")
    )
    return None


def quantity(name: str, dimensions: tuple[str, ...], about: str, *, zero: bool = False) -> Field:
    """A quantity of some dimension, above zero unless `zero`."""

    def read(reader: Reader, raw: object, at: Place) -> object | None:
        found = read_quantity(reader, raw, at, dimensions, zero=zero)
        return amount(found) if found else None

    return Field(name, about, read, _measures(dimensions))


def rate(name: str, about: str, dimensions: tuple[str, ...] = RATE) -> Field:
    """A rate; `percent_vv` and `ppm` are rates per volume."""

    def read(reader: Reader, raw: object, at: Place) -> object | None:
        found = read_quantity(reader, raw, at, dimensions)
        if found is None:
            return None
        if found.unit in NOT_A_RATE or found.unit in ("m3/ha", "L/m3"):
            detail = said("fault.not_of_a_product", unit=found.unit)
            reader.faults.add((at, "unit"), "unit_kind", detail)
            return None
        if found.unit == "percent_vv" and found.value >= 100:
            reader.faults.add((at, "value"), "out_of_range", said("fault.share_below_all"))
            return None
        return amount(found)

    return Field(name, about, read, _measures(dimensions))


def spray_per_area(name: str, about: str) -> Field:
    """A volume of spray per area, such as 100 gal/acre."""

    def read(reader: Reader, raw: object, at: Place) -> object | None:
        found = read_quantity(reader, raw, at, VOLUME_PER_AREA)
        if found is not None and found.unit == "ft3/acre":
            detail = said("fault.canopy_not_spray")
            reader.faults.add((at, "unit"), "unit_kind", detail)
            return None
        return amount(found) if found else None

    return Field(name, about, read, _measures(VOLUME_PER_AREA))


def rate_by_area(name: str, about: str) -> Field:
    """A rate per area, such as 4 lb/acre."""
    return rate(name, about, AMOUNT_PER_AREA)


def content(name: str, about: str) -> Field:
    """How much active ingredient or metal a product holds."""

    def read(reader: Reader, raw: object, at: Place) -> object | None:
        found = reader.content(raw, at)
        if found is not None and found.unit == "g/kg" and found.value > 1000:
            reader.faults.add((at, "value"), "out_of_range", said("fault.more_than_a_kilogram"))
            return None
        return amount(found) if found else None

    return Field(name, about, read, _measures(CONTENT))


def density(
    about: str = "mass per volume of the product, to turn weight and volume into each other",
) -> Field:
    """A density."""

    def read(reader: Reader, raw: object, at: Place) -> object | None:
        found = read_quantity(reader, raw, at, DENSITY)
        if found is not None and found.unit.startswith("percent"):
            detail = said("fault.unit_of_content", unit=found.unit)
            reader.faults.add((at, "unit"), "unit_kind", detail)
            return None
        return amount(found) if found else None

    return Field("density", about, read, _measures(DENSITY), required=False)


def temperature(name: str, about: str) -> Field:
    """A temperature that an orchard can have, -90 to 70 degC."""

    def read(reader: Reader, raw: object, at: Place) -> object | None:
        found = reader.temperature(raw, at)
        return amount(found) if found else None

    return Field(name, about, read, _measures(("temperature",)))


def pressure(name: str, about: str) -> Field:
    """The pressure of the air, 50 to 110 kPa."""

    def read(reader: Reader, raw: object, at: Place) -> object | None:
        found = read_quantity(reader, raw, at, ("pressure",))
        if found is None:
            return None
        if not LOWEST_AIR <= found.in_base() <= HIGHEST_AIR:
            detail = said("fault.air_pressure", low=LOWEST_AIR, high=HIGHEST_AIR)
            reader.faults.add((at, "value"), "out_of_range", detail)
            return None
        return amount(found)

    return Field(name, about, read, _measures(("pressure",)))


def interval(name: str, about: str) -> Field:
    """A time of zero or more, at most ten years."""

    def read(reader: Reader, raw: object, at: Place) -> object | None:
        found = reader.time(raw, at)
        return amount(found) if found else None

    return Field(name, about, read, _measures(TIME))
