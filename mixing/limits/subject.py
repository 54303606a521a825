"""One product of the tank with all that its checks ask for, looked up once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date
from functools import lru_cache
from typing import NamedTuple

from mixing import chemistry
from mixing.chemistry import Facts
from mixing.labels import Label
from mixing.limits import bounds
from mixing.limits.bounds import Bound
from mixing.request import Application, MixRequest, Product, Recipe
from mixing.rulebook import Place, Rule, Rulebook
from mixing.rulebook.index import ProductRows
from mixing.scene import Scene
from mixing.uses import Applying


class Subject(NamedTuple):
    """A product, the rows of its label that apply, and the rules that may speak of it.

    :ivar rows: those of its groups in this place that no limit of its own label takes the place of
    :ivar same: what tells it from other products: registration or name
    :ivar asks: whether its label keeps partners days apart
    :ivar counts: whether its label asks anything of earlier days: an interval, a number, partners apart
    :ivar bounds: what its label asks of weather and water
    """

    product: Product
    label: Label
    applying: Applying
    facts: Facts
    rows: ProductRows
    same: str
    asks: bool
    counts: bool
    bounds: tuple[Bound, ...]


class Earlier(NamedTuple):
    """One earlier application, its place in the history, and how many days ago it was."""

    application: Application
    place: int
    days: int
    facts: Facts
    same: str
    asks: bool


def subjects(
    request: MixRequest, rulebook: Rulebook, scene: Scene, applying: Sequence[Applying]
) -> tuple[Subject, ...]:
    """Return the products of a request, in its order."""
    standing = _standing_of(request.recipe, tuple(applying), scene.place, rulebook)
    return tuple([Subject(one, *known) for one, known in zip(request.products, standing, strict=True)])


Standing = tuple[Label, Applying, Facts, ProductRows, str, bool, bool, tuple[Bound, ...]]
"""What of a subject hangs on its label and the place alone, not on the day or the rate."""


@lru_cache(maxsize=1024)
def _standing_of(
    recipe: Recipe, applying: tuple[Applying, ...], place: Place, rulebook: Rulebook
) -> tuple[Standing, ...]:
    return tuple(
        _standing(label, rows, place, rulebook)
        for (_, label), rows in zip(recipe.products, applying, strict=True)
    )


def _standing(label: Label, applying: Applying, place: Place, rulebook: Rulebook) -> Standing:
    facts = chemistry.facts(label)
    rows = rulebook.of_product(facts, place)
    rows = rows._replace(
        weather=_unsaid(rows.weather, label, applying), water=_unsaid(rows.water, label, applying)
    )
    own, asks = applying.bounds, _asks(label)
    counts = asks or own.interval is not None or own.maximum_applications is not None
    return label, applying, facts, rows, label.same_product, asks, counts, bounds.of(label, applying)


def _unsaid(rules: Iterable[Rule], label: Label, applying: Applying) -> tuple[Rule, ...]:
    return tuple(rule for rule in rules if not has_own(rule.when.unless_label, label, applying))


def has_own(limit_name: str | None, label: Label, applying: Applying) -> bool:
    """Say whether a product's label has a limit of its own of that kind."""
    return limit_name is not None and OWN[limit_name](label, applying)


def _water_ph(label: Label, applying: Applying) -> bool:
    mixing = label.mixing
    return mixing is not None and (mixing.water_ph_minimum is not None or mixing.water_ph_maximum is not None)


def _temperature(label: Label, applying: Applying) -> bool:
    rows = applying.bounds
    return rows.temperature_minimum is not None or rows.temperature_maximum is not None


OWN: dict[str, Callable[[Label, Applying], bool]] = {
    "wind": lambda _, applying: applying.bounds.wind_maximum is not None,
    "wind_minimum": lambda _, applying: applying.bounds.wind_minimum is not None,
    "temperature": _temperature,
    "rain_free": lambda _, applying: applying.bounds.rain_free is not None,
    "water_ph": _water_ph,
}


def _asks(label: Label) -> bool:
    return label.mixing is not None and bool(label.mixing.intervals)


@lru_cache(maxsize=1024)
def _known_of(label: Label) -> tuple[Facts, str, bool]:
    """Return what of an earlier application hangs on its label alone."""
    return chemistry.facts(label), label.same_product, _asks(label)


class Past(NamedTuple):
    """What was sprayed up to today, the latest first: all of it, by product, and by what products are.

    :ivar asking: whether a label of them keeps partners days apart
    """

    sprays: tuple[Earlier, ...]
    of_product: Mapping[str, tuple[Earlier, ...]]
    of_facts: Mapping[Facts, tuple[Earlier, ...]]
    asking: bool


NO_PAST = Past((), {}, {}, False)


def past_of(history: Iterable[Application] | None, today: date | None) -> Past:
    """Return what was sprayed up to today; nothing where the day is not known."""
    if today is None or not history:
        return NO_PAST
    found = [
        Earlier(one, place, (today - one.on).days, *_known_of(one.label))
        for place, one in enumerate(history)
        if one.on <= today
    ]
    found.sort(key=lambda one: (one.days, one.place))
    of_product: dict[str, tuple[Earlier, ...]] = {}
    of_facts: dict[Facts, tuple[Earlier, ...]] = {}
    for one in found:
        of_product[one.same] = (*of_product.get(one.same, ()), one)
        of_facts[one.facts] = (*of_facts.get(one.facts, ()), one)
    return Past(tuple(found), of_product, of_facts, any(one.asks for one in found))
