"""The sheet on which a calculation is written down, so that a person can follow it with a pencil."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from fractions import Fraction

from mixing.calculations.exact import Amount, brief, factor, of_base
from mixing.catalogue import Text, said
from mixing.faults import TOP, Faults
from mixing.quantities import QuantityError, unit


class Worksheet:
    """Holds the steps, turns amounts into the units that are asked for, and notes what cannot be turned."""

    __slots__ = ("_asked", "faults", "steps")

    def __init__(self, asked: Mapping[str, str], faults: Faults) -> None:
        self._asked = asked
        self.faults = faults
        self.steps: list[str] = []

    def note(self, step: Text | str) -> None:
        """Write down one step: a sentence of the catalogue, or a formula without words."""
        self.steps.append(step if isinstance(step, str) else step.render(self.faults.language))

    def refuse(self, field: str, code: str, detail: Text) -> None:
        """Note what is wrong with a field and end the calculation.

        :raises MixRequestError: with all that was noted so far
        """
        self.faults.add((TOP, field), code, detail)
        self.faults.refuse()

    def turn(self, amount: Amount, name: str) -> Amount:
        """Return the amount in another unit, written down where the unit differs."""
        if amount.unit == name:
            return amount
        turned = amount.to(name)
        self.note(said("step.is", amount=amount, turned=turned))
        return turned

    def weigh(self, amount: Amount, name: str, density: Amount) -> Amount:
        """Return a volume as a mass, or a mass as a volume, by the density; the unit below stays."""
        thick = density.to("g/mL")
        base, by_mass = amount.base, amount.dimension.startswith("mass")
        turned = of_base(base / thick.base if by_mass else base * thick.base, name)
        sign = "÷" if by_mass else "×"
        self.note(said("step.weighed", amount=amount, sign=sign, density=density, turned=turned))
        return turned

    def asked(self, name: str) -> str | None:
        """Return the unit that is asked for an answer, or None."""
        return self._asked.get(name)

    def answer(self, name: str, amount: Amount, density: Amount | None = None) -> Amount:
        """Return an answer in the unit that is asked for it, by the density where that is needed."""
        wanted = self._asked.get(name)
        if wanted is None or wanted == amount.unit:
            return amount
        if density is not None and turns_by_weight(amount.dimension, unit(wanted).dimension):
            return self.weigh(amount, wanted, density)
        try:
            return self.turn(amount, wanted)
        except QuantityError as fault:
            weight = turns_by_weight(amount.dimension, unit(wanted).dimension)
            code = "unit_needs_density" if weight else fault.code
            detail = said("fault.give_the_density", fault=fault.text) if weight else fault.text
            self.faults.add(((TOP, "in"), name), code, detail)
            return amount

    def answers(
        self, name: str, amounts: Iterable[Amount], density: Amount | None = None
    ) -> tuple[Amount, ...]:
        """Return several answers of one name in the unit that is asked for it."""
        return tuple(self.answer(name, one, density) for one in amounts)


def turns_by_weight(one: str, other: str) -> bool:
    """Say whether a density turns one dimension into the other: `volume/area` and `mass/area`."""
    above, _, below = one.partition("/")
    other_above, _, other_below = other.partition("/")
    return below == other_below and {above, other_above} == {"mass", "volume"}


def per(rate: Amount) -> tuple[str, Fraction, str]:
    """Return the unit above a rate's line, and how many of which unit stand below (`fl_oz`, 100, `gal`)."""
    above, _, below = rate.unit.partition("/")
    if below == "1000ft2":
        return above, Fraction(1), below
    name = below.lstrip("0123456789")
    return above, Fraction(below[: len(below) - len(name)] or 1), name


def times(sheet: Worksheet, rate: Amount, ground: Amount) -> Amount:
    """Return what a rate comes to on so much spray, ground, row or trees, in the rate's amount unit."""
    above, count, below = per(rate)
    here = sheet.turn(ground, below)
    result = Amount(here.value / count * rate.value, above)
    lots = f"{here} ÷ {brief(count)} {below} × {brief(rate.value)} {above}"
    one = f"{here} × {rate}"
    sheet.note(f"{one if count == 1 else lots} = {result}")
    return result


def share(name: str) -> Fraction:
    """Return what one of a content's unit is as a share (`percent_ww`) or in g/mL (`g/L`, `ppm` = mg/L)."""
    return Fraction(1, 1_000_000) if name == "ppm" else factor(name)


def weight_per_volume(sheet: Worksheet, content: Amount) -> Amount:
    """Return a content by weight in a volume with a unit to reckon by: percent_wv and ppm (mg/L) in g/L."""
    if content.unit not in ("percent_wv", "ppm"):
        return content
    turned = Amount(content.value * share(content.unit) * 1000, "g/L")
    sheet.note(said("step.is", amount=content, turned=turned))
    return turned
