"""A row of the rule tables and what must hold for it to speak.

All that a `when` names must hold. A field that is None asks nothing. Quantities are in base units (m/s, degC,
ppm, g/m2), so that a check compares numbers and converts nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from mixing.findings import Basis, Severity
from mixing.quantities import Quantity
from mixing.stages import FIRST, LAST, Window


@dataclass(frozen=True, slots=True)
class Source:
    """Who says so: a regulation, a label text, an extension page, a standard or a paper."""

    key: str
    title: str
    publisher: str
    year: int | None
    kind: str
    where: str
    seen: date | None


@dataclass(frozen=True, slots=True)
class When:
    """The conditions of a row. Pairs are names of ingredients or groups; of formulations in that table.

    :ivar days: two applications closer than this are too close
    :ivar direction: `either`, or `after` where only the second of the pair must wait for the first
    :ivar unless_label: the row is silent for a product whose label has this limit of its own
    :ivar copper_above, copper_up_to: copper metal per area [g/m2]; an unknown amount is above any bound
    """

    pair: tuple[str, str] | None = None
    packet_with: tuple[str, ...] | None = None
    what: tuple[str, ...] | None = None
    crops: frozenset[str] | None = None
    not_crops: frozenset[str] | None = None
    targets: frozenset[str] | None = None
    stages: tuple[Window, ...] | None = None
    regions: frozenset[str] | None = None
    materials: frozenset[str] | None = None
    days: int | None = None
    direction: str = "either"
    unless_label: str | None = None
    copper_above: Decimal | None = None
    copper_up_to: Decimal | None = None
    percent_above: Decimal | None = None
    wind_above: Decimal | None = None
    wind_below: Decimal | None = None
    temperature_above: Decimal | None = None
    temperature_below: Decimal | None = None
    minimum_below: Decimal | None = None
    humidity_above: Decimal | None = None
    humidity_below: Decimal | None = None
    rain_within: Decimal | None = None
    inversion: bool | None = None
    ph_above: Decimal | None = None
    ph_below: Decimal | None = None
    hardness_above: Decimal | None = None
    water_below: Decimal | None = None
    water_above: Decimal | None = None
    products_above: int | None = None
    scheme: str | None = None
    codes: frozenset[str] | None = None
    in_a_row: int | None = None
    in_a_year: int | None = None
    of: str | None = None
    years: int | None = None
    maximum: Quantity | None = None


Test = tuple[str, bool, Decimal]
"""A field of the circumstances, whether it must lie above (else below), and the bound."""
ANY = Decimal(0)
"""The bound of what is there or not: an inversion that is there lies above it."""

WEATHER = (
    ("wind", "wind_above", "wind_below"),
    ("temperature", "temperature_above", "temperature_below"),
    ("minimum", None, "minimum_below"),
    ("humidity", "humidity_above", "humidity_below"),
    ("rain_within", None, "rain_within"),
    ("inversion", "inversion", None),
)
WATER = (
    ("ph", "ph_above", "ph_below"),
    ("hardness", "hardness_above", None),
    ("water_temperature", "water_above", "water_below"),
)


def stages_of(when: When) -> frozenset[int] | None:
    """Return every stage that lies in one of the windows; None where the row asks for none."""
    if when.stages is None:
        return None
    return frozenset(bbch for bbch in range(FIRST, LAST + 1) if any(bbch in one for one in when.stages))


def tests_of(when: When, fields: tuple[tuple[str, str | None, str | None], ...]) -> tuple[Test, ...]:
    """Return the bounds of a row on the fields of the weather or of the water."""
    return tuple(
        (field, name is above, ANY if bound is True else bound)
        for field, above, below in fields
        for name in (above, below)
        if name is not None and (bound := getattr(when, name)) is not None
    )


@dataclass(frozen=True, slots=True, eq=False)
class Rule:
    """One row, equal to itself only. Its id is never reused; a retired row keeps it and no longer speaks.

    :ivar about: rows about the same thing from different sources; the strictest speaks and names the others
    :ivar memory: recalled, not seen; such a row never stops anything
    """

    id: str
    table: str
    severity: Severity
    basis: Basis
    source: str | None
    locator: str | None
    about: str
    when: When
    says: str
    why: str | None
    do: str
    memory: bool
    retired: bool
    stages: frozenset[int] | None
    """Every stage of its windows."""
    weather: tuple[Test, ...]
    water: tuple[Test, ...]
