"""The jar test: the mix in a glass, scaled exactly to its water, before a tank of it is made.

Needed where a pair is untested or a finding asks for it. The amounts are always given.

Source: scaling by volume, GrowNotes spray application manual 7.5, Grains Research and Development
Corporation, 2025; waiting and signs, Using a Jar Test, Utah State University Extension, 2012.
"""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from decimal import Decimal, localcontext
from functools import cache, lru_cache
from pathlib import Path
from typing import NamedTuple

from mixing import doses, quantities, spraying
from mixing.catalogue import Text
from mixing.doses import Dose
from mixing.findings import Basis, Finding
from mixing.quantities import EXACT, Quantity
from mixing.request import MixRequest, Spray

TABLE = Path(__file__).parent / "rules" / "jar_test.toml"
LOOK_FOR = tuple(
    Text(f"jar_test.look_for.{sign}")
    for sign in ("layers", "clumps", "flakes", "gel", "oil", "foam", "heat", "smooth")
)
US_MASSES = frozenset(("lb", "oz_wt"))
SMALL = {"kg": "g", "L": "mL", "m3": "mL"}
"""Metric units too large for any jar, and what is measured in their place."""
ANY = Decimal("Infinity")
"""What every amount is below."""


@dataclass(frozen=True, slots=True)
class Practice:
    """What is the same for every test.

    :ivar asking: ids of findings that ask for a test
    :ivar smaller: an amount below the first is given in the unit that is second
    """

    water_us: Quantity
    water_metric: Quantity
    wait: Quantity
    asking: frozenset[str]
    smaller: tuple[tuple[Quantity, str], ...]


class JarAmount(NamedTuple):
    """What of one product goes into the jar; None where its rate cannot be scaled."""

    id: str
    amount: Quantity | None


class JarTest(NamedTuple):
    """The test: whether it is needed and why, its water, what goes in, how long it stands, the signs."""

    needed: bool
    why: Text
    water: Quantity
    amounts: tuple[JarAmount, ...]
    wait: Quantity
    look_for: tuple[Text, ...]


def plan(
    request: MixRequest, findings: Collection[Finding], *, dosed: Sequence[Dose] | None = None
) -> JarTest:
    """Return the jar test for this tank.

    :param findings: what was found; an untested pair, or a finding that asks for it, makes the test needed
    :param dosed: the doses, where they have been worked out already
    """
    said = practice()
    # two products of the tank: what the last load left is no partner in a jar
    untested = any(one.basis is Basis.UNTESTED and len(one.products) > 1 for one in findings)
    asked = untested or any(one.id in said.asking for one in findings)
    water = said.water_us if spraying.in_us_units(request) else said.water_metric
    with localcontext(EXACT):
        amounts = tuple(
            [
                JarAmount(dose.product.id, amount(dose, request, water))
                for dose in dosed or doses.doses(request)
            ]
        )
    return JarTest(
        needed=asked,
        why=Text(_why(request, asked, untested)),
        water=water,
        amounts=amounts,
        wait=said.wait,
        look_for=LOOK_FOR,
    )


def _why(request: MixRequest, asked: bool, untested: bool) -> str:
    if asked:
        return "jar_test.why.untested" if untested else "jar_test.why.asked"
    return "jar_test.why.one_product" if len(request.products) == 1 else "jar_test.why.not_needed"


def amount(dose: Dose, request: MixRequest, water: Quantity) -> Quantity | None:
    """Return what of a product goes into so much water, in a unit measured there; call it in `EXACT`.

    It is the share of the spray that the jar is; None where a rate by area, tree or length lacks the spray
    volume, or a rate in ppm its content.
    Example: 1.5 tbsp/gal in 1 qt is 0.375 tbsp, given as 1.125 tsp.
    """
    product, unit = dose.product, dose.unit
    rate = product.rate
    per = rate.per
    if per in ("area", "tree", "length"):
        strength = _per_ml(rate, request.spray, per)
    elif rate.dimension == "ppm":
        strength = _of_job(dose, request)
    else:
        spray = request.spray
        if spray is None or spray.dilute_volume_per_area is None or product.label.adjuvant:
            strength = rate.in_base()
        else:
            strength = _concentrated(rate, spray)
    return None if strength is None else _in_jar(strength, unit, water)


def _in_jar(strength: Decimal, unit: str, water: Quantity) -> Quantity:
    """Return what so much water takes at a strength [g/mL or mL/mL], in a unit that can be measured there."""
    amount = strength * water.in_base()
    if smallest := _smaller(unit):
        shown = spraying.rounded(amount)
        for least, smaller in smallest:
            if shown < least:
                unit = smaller
    return Quantity(amount / quantities.unit(unit).above, unit)


def _concentrated(rate: Quantity, spray: Spray) -> Decimal:
    """g or mL of product in a mL of spray as it is made, where a rate is meant for the dilute volume."""
    made, dilute = spraying.total_ml(spray), spraying.dilute_ml(spray)
    return rate.in_base() if made is None or dilute is None else rate.in_base() * dilute / made


def _of_job(dose: Dose, request: MixRequest) -> Decimal | None:
    made = spraying.total_ml(request.spray)
    if made is None or dose.job is None:
        return None
    return dose.job * quantities.unit(dose.unit).above / made


def _per_ml(rate: Quantity, spray: Spray | None, per: str) -> Decimal | None:
    if spray is None:
        return None
    below = {
        "area": spray.volume_per_area,
        "tree": spray.volume_per_tree,
        "length": spray.volume_per_length,
    }[per]
    if below is not None:
        return rate.in_base() / below.in_base()
    made = spraying.total_ml(spray)
    if per == "area" and made is not None and spray.area is not None:
        return rate.in_base() * spray.area.in_base() / made
    return None


@lru_cache(maxsize=256)
def _smaller(unit: str) -> tuple[tuple[Decimal, str], ...]:
    """Return the units to measure in instead of a label's that is too large for a jar, the smallest last.

    Each with the amount [g or mL] below which it is taken.
    """
    if unit in SMALL:
        return ((ANY, SMALL[unit]),)
    if unit not in spraying.US_VOLUMES and unit not in US_MASSES:
        return ()
    dimension = quantities.unit(unit).dimension
    return tuple(
        (least.in_base(), name) for least, name in practice().smaller if least.dimension == dimension
    )


@cache
def practice() -> Practice:
    """Return what is the same for every test."""
    with TABLE.open("rb") as file:
        raw = tomllib.load(file)
    said = raw["test"]
    return Practice(
        water_us=quantities.parse_quantity(said["water_us"]),
        water_metric=quantities.parse_quantity(said["water_metric"]),
        wait=quantities.parse_quantity(said["wait"]),
        asking=frozenset(said["asking"]),
        smaller=tuple((quantities.parse_quantity(row["least"]), row["unit"]) for row in raw["smaller"]),
    )
