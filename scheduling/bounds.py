"""The limits that close an hour or a day: the label's, a stricter one of the farm, else a published one."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from pathlib import Path
from typing import Any

from django.utils.translation import gettext_noop as _

from mixing.quantities import Quantity, parse_quantity

FARM = _("this farm")
PRACTICE = _("common practice, no source")
"""What `windows.toml` names where it has no source."""
TABLE = Path(__file__).with_name("windows.toml")


class Limit(StrEnum):
    """What closes an hour; the codes of the API."""

    WIND = "wind"
    RAIN = "rain"
    FROST = "frost"
    HEAT = "heat"
    INVERSION = "inversion"
    WET = "wet"
    RE_ENTRY = "re_entry"
    QUIET_HOURS = "quiet_hours"


class Basis(StrEnum):
    """Who says so."""

    LABEL = "label"
    FARM = "farm"
    PUBLISHED = "published"


class Measure(StrEnum):
    """What a bound is put on."""

    WIND_MAXIMUM = "wind_maximum"
    WIND_MINIMUM = "wind_minimum"
    CALM = "calm"
    TEMPERATURE_MINIMUM = "temperature_minimum"
    TEMPERATURE_MAXIMUM = "temperature_maximum"
    RAIN_FREE = "rain_free"
    FROST_FREE = "frost_free"
    LEAF_DRY = "leaf_dry"
    FROST_GONE = "frost_gone"
    DELTA_T_MAXIMUM = "delta_t_maximum"


LOWER_IS_STRICTER = frozenset({Measure.WIND_MAXIMUM, Measure.TEMPERATURE_MAXIMUM, Measure.DELTA_T_MAXIMUM})


@dataclass(frozen=True, slots=True)
class Bound:
    """One limit: on what, how much, who says so, and the name of the label or the title of the source."""

    measure: Measure
    value: Quantity
    basis: Basis
    whose: str

    def stricter_than(self, other: Bound) -> bool:
        """Say whether this one closes more than the other."""
        mine, theirs = self.value.in_base(), other.value.in_base()
        return mine < theirs if self.measure in LOWER_IS_STRICTER else mine > theirs


@lru_cache(maxsize=1)
def published() -> tuple[Bound, ...]:
    """Return the bounds of `windows.toml`."""
    table = tomllib.loads(TABLE.read_text(encoding="utf-8"))
    return tuple(
        Bound(
            Measure(row["measure"]),
            parse_quantity(row["value"]),
            Basis.PUBLISHED,
            table["sources"][row["source"]]["title"],
        )
        for row in table["bound"]
    )


@lru_cache(maxsize=1)
def wet_from() -> float:
    """Return the relative humidity [%] from which leaves count as wet where no sensor says."""
    return float(tomllib.loads(TABLE.read_text(encoding="utf-8"))["leaf_wetness"]["humidity_percent"])


def of_label(label: Mapping[str, Any], *, crop: str) -> tuple[Bound, ...]:
    """Return the weather bounds that a label sets for a crop, the strictest of its rows.

    :param label: the label as in the mix check (`uses` with `wind`, `rain_free`, `temperature`)
    """
    found = [
        Bound(measure, parse_quantity(raw), Basis.LABEL, str(label["name"]))
        for use in label.get("uses") or ()
        if crop in use.get("crops", ())
        for measure, raw in _of_use(use)
        if raw is not None
    ]
    return strictest(found)


def _of_use(use: Mapping[str, Any]) -> Iterable[tuple[Measure, Any]]:
    wind, temperature = use.get("wind") or {}, use.get("temperature") or {}
    yield Measure.WIND_MAXIMUM, wind.get("maximum")
    yield Measure.WIND_MINIMUM, wind.get("minimum")
    yield Measure.TEMPERATURE_MINIMUM, temperature.get("minimum")
    yield Measure.TEMPERATURE_MAXIMUM, temperature.get("maximum")
    yield Measure.RAIN_FREE, use.get("rain_free")


def of_farm(limits: Mapping[str, Any]) -> tuple[Bound, ...]:
    """Return the bounds of a farm's `limits`; what is not about weather (`re_entry_minimum`) is left out."""
    names = {measure.value for measure in Measure}
    return tuple(
        Bound(Measure(name), parse_quantity(raw), Basis.FARM, FARM)
        for name, raw in sorted(limits.items())
        if name in names and raw is not None
    )


def strictest(bounds: Iterable[Bound]) -> tuple[Bound, ...]:
    """Return one bound for each measure, the strictest; the first of equals."""
    best: dict[Measure, Bound] = {}
    for bound in bounds:
        held = best.get(bound.measure)
        if held is None or bound.stricter_than(held):
            best[bound.measure] = bound
    return tuple(best[measure] for measure in Measure if measure in best)


def in_force(*, labels: Sequence[Bound], farm: Sequence[Bound] = ()) -> tuple[Bound, ...]:
    """Return the bounds that hold together, label first.

    A label's bound replaces the published one on the same measure. A farm's holds only where it is stricter
    than the one that it stands beside; both are kept, so that a person sees which of them closed the hour.
    """
    base = {bound.measure: bound for bound in strictest(labels)}
    for bound in published():
        base.setdefault(bound.measure, bound)
    stricter = [
        bound
        for bound in strictest(farm)
        if bound.measure not in base or bound.stricter_than(base[bound.measure])
    ]
    ordered = [base[measure] for measure in Measure if measure in base]
    return tuple(sorted([*ordered, *stricter], key=lambda bound: list(Basis).index(bound.basis)))
