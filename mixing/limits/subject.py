"""One product of the tank with all that its checks ask for, looked up once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from mixing import chemistry, uses
from mixing.chemistry import Facts
from mixing.labels import Label
from mixing.request import Application, MixRequest, Product
from mixing.rulebook import Rulebook
from mixing.rulebook.index import ProductRows
from mixing.uses import Applying


@dataclass(frozen=True, slots=True, eq=False)
class Subject:
    """A product, the rows of its label that apply, and the rules that may speak of it."""

    product: Product
    label: Label
    applying: Applying
    facts: Facts
    rows: ProductRows
    same: str
    """What tells it from other products: registration or name."""
    asks: bool
    """Whether its label keeps partners days apart."""


@dataclass(frozen=True, slots=True, eq=False)
class Earlier:
    """One earlier application, its place in the history, and how many days ago it was."""

    application: Application
    place: int
    days: int
    facts: Facts
    same: str
    asks: bool


def subjects(request: MixRequest, rulebook: Rulebook) -> tuple[Subject, ...]:
    """Return the products of a request, in its order."""
    return tuple(_subject(product, request, rulebook) for product in request.products)


def _subject(product: Product, request: MixRequest, rulebook: Rulebook) -> Subject:
    facts = chemistry.facts(product.label)
    return Subject(
        product,
        product.label,
        uses.applying(product.label, request),
        facts,
        rulebook.of_product(facts, request.crop),
        product.label.same_product,
        _asks(product.label),
    )


def _asks(label: Label) -> bool:
    return label.mixing is not None and bool(label.mixing.intervals)


def earlier(history: Iterable[Application] | None, today: date | None) -> tuple[Earlier, ...]:
    """Return what was sprayed up to today, the latest first; nothing where the day is not known."""
    if today is None or not history:
        return ()
    found = [
        Earlier(
            one,
            place,
            (today - one.on).days,
            chemistry.facts(one.label),
            one.label.same_product,
            _asks(one.label),
        )
        for place, one in enumerate(history)
        if one.on <= today
    ]
    return tuple(sorted(found, key=lambda one: (one.days, one.place)))
