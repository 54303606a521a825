"""How much spray a job takes, over how much ground, and in which units it was said."""

from __future__ import annotations

from decimal import Decimal

from mixing import quantities
from mixing.quantities import Quantity
from mixing.request import MixRequest, Spray

US_VOLUMES = frozenset(("tsp", "tbsp", "fl_oz", "cup", "pt", "qt", "gal"))


def total_ml(spray: Spray | None) -> Decimal | None:
    """Return the spray of the whole job as it leaves the nozzles [mL]; None where it cannot be worked out."""
    if spray is None:
        return None
    if spray.total is not None:
        return spray.total.in_base()
    if spray.area is not None and spray.volume_per_area is not None:
        return spray.area.in_base() * spray.volume_per_area.in_base()
    if spray.trees is not None and spray.volume_per_tree is not None:
        return spray.trees * spray.volume_per_tree.in_base()
    if spray.row_length is not None and spray.volume_per_length is not None:
        return spray.row_length.in_base() * spray.volume_per_length.in_base()
    return None


def dilute_ml(spray: Spray | None) -> Decimal | None:
    """Return the spray that the job would take at dilute volume [mL]: what a rate per volume is meant for."""
    if spray is not None and spray.dilute_volume_per_area is not None and spray.area is not None:
        return spray.area.in_base() * spray.dilute_volume_per_area.in_base()
    return total_ml(spray)


def volume_unit(spray: Spray) -> str:
    """Return the unit of volume in which the spray was said."""
    said = spray.total or spray.volume_per_tree
    if said is not None:
        return said.unit
    per = spray.volume_per_area or spray.volume_per_length
    return per.unit.partition("/")[0] if per is not None else "L"


def load_unit(request: MixRequest) -> str:
    """Return the unit for the spray of a load: the tank's, whose marks the person reads, else the spray's."""
    tank = request.sprayer.tank
    if tank is not None and not request.sprayer.is_hose_end:
        return tank.unit
    return volume_unit(request.spray) if request.spray is not None else "L"


def in_us_units(request: MixRequest) -> bool:
    """Say whether the spray is in US units: a share of it is then given in fl_oz, else in mL."""
    if request.spray is not None:
        return volume_unit(request.spray) in US_VOLUMES
    vessel = request.sprayer.tank or request.sprayer.jar
    return vessel is not None and vessel.unit in US_VOLUMES


def of_volume(millilitres: Decimal, unit: str) -> Quantity:
    """Return a volume in a unit, at most 15 places."""
    return Quantity(rounded(millilitres / quantities.unit(unit).above), unit)


PLACES = Decimal("1e-15")


def rounded(value: Decimal) -> Decimal:
    """Return a value as the report gives it: 15 places after the point."""
    return value.quantize(PLACES, None, quantities.EXACT)
