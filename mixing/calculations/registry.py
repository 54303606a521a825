"""The named calculations: each says what it does, what goes in, what comes out and where it is from."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from mixing.calculations import exact
from mixing.calculations.exact import Amount
from mixing.calculations.fields import Field, read_field
from mixing.calculations.results import Result
from mixing.calculations.sources import source
from mixing.calculations.worksheet import Worksheet
from mixing.catalogue import said
from mixing.faults import TOP, Faults, MixRequestError, joined, near
from mixing.quantities import QuantityError, unit
from mixing.reading import Reader

CalculationError = MixRequestError
"""A request that cannot be calculated: `.errors` is `[{"pointer", "code", "detail"}]`, as for a mix check."""


@dataclass(frozen=True, slots=True)
class Given:
    """What was given: the fields that could be read (`values`) and the names of all that are there."""

    values: Mapping[str, object]
    names: frozenset[str]

    def amount(self, name: str) -> Amount | None:
        """Return an amount that was given and read."""
        found = self.values.get(name)
        return found if isinstance(found, Amount) else None

    def number(self, name: str) -> Fraction | None:
        """Return a number that was given and read."""
        found = self.values.get(name)
        return found if isinstance(found, Fraction) else None

    def listed(self, name: str) -> tuple[object, ...]:
        """Return a list that was given and read, else an empty one."""
        found = self.values.get(name)
        return found if isinstance(found, tuple) else ()

    def has(self, *names: str) -> bool:
        """Say whether all of these fields are there, well or ill."""
        return self.names.issuperset(names)


Relation = Callable[[Given, Faults], None]


@dataclass(frozen=True, slots=True)
class Calculation:
    """A named calculation."""

    name: str
    does: str
    inputs: tuple[Field, ...]
    results: tuple[Result, ...]
    sources: tuple[str, ...]
    example: Mapping[str, object]
    ways: tuple[tuple[tuple[str, ...], ...], ...]
    relations: tuple[Relation, ...]
    run: Callable[..., Mapping[str, object]]


REGISTRY: dict[str, Calculation] = {}


def calculation(
    *,
    does: str,
    inputs: Sequence[Field],
    results: Sequence[Result],
    sources: Sequence[str],
    example: Mapping[str, object],
    ways: Sequence[Sequence[Sequence[str]]] = (),
    relations: Sequence[Relation] = (),
) -> Callable[[Callable[..., Mapping[str, object]]], Callable[..., Mapping[str, object]]]:
    """Register a function of a worksheet and the fields that were given as a named calculation.

    :param ways: sets of fields of which exactly one is given: `((("volume",), ("mass",)),)`
    :param relations: checks of fields against each other, run on whatever could be read
    """

    def register(run: Callable[..., Mapping[str, object]]) -> Callable[..., Mapping[str, object]]:
        REGISTRY[run.__name__] = Calculation(
            name=run.__name__,
            does=does,
            inputs=tuple(inputs),
            results=tuple(results),
            sources=tuple(sources),
            example=example,
            ways=tuple(tuple(tuple(way) for way in group) for group in ways),
            relations=tuple(relations),
            run=run,
        )
        return run

    return register


def calculate(name: str, inputs: object, *, language: str = "en") -> dict[str, object]:
    """Return the answer of one named calculation, with its steps and its source.

    :param name: one of `listing()`
    :param language: `en` or `es`, of the steps and the faults
    :param inputs: the fields as JSON, and `"in": {"result field": "unit"}` for other units
    :raises CalculationError: with every fault at once; an unknown name is `not_found`
    """
    found = REGISTRY.get(name) if isinstance(name, str) else None
    if found is None:
        detail = said("fault.unknown_calculation", name=repr(str(name)[:60]), hint=near(name, REGISTRY))
        raise CalculationError([{"pointer": "", "code": "not_found", "detail": detail.render(language)}])
    reader = Reader(language)
    given, asked = _read(found, inputs, reader)
    reader.faults.refuse()
    sheet = Worksheet(asked, reader.faults)
    answer = found.run(sheet, **given)
    reader.faults.refuse()
    return {
        **{key: _written(value) for key, value in answer.items() if key != "source"},
        "steps": sheet.steps,
        "source": source(str(answer.get("source", found.sources[0]))),
    }


def _read(found: Calculation, inputs: object, reader: Reader) -> tuple[dict[str, object], dict[str, str]]:
    known = frozenset((*(one.name for one in found.inputs), "in"))
    fields = reader.fields(inputs, TOP, known, what=found.name)
    if fields is None:
        return {}, {}
    values = {one.name: read_field(reader, one, fields, TOP) for one in found.inputs}
    names = frozenset(key for key in known if fields.get(key) is not None)
    given = Given({key: value for key, value in values.items() if value is not None}, names)
    for group in found.ways:
        _one_way(group, given, reader.faults)
    for relation in found.relations:
        relation(given, reader.faults)
    asked = _asked(found, fields.get("in"), given, reader)
    return dict(given.values), asked


def _one_way(group: tuple[tuple[str, ...], ...], given: Given, faults: Faults) -> None:
    """Note where none, or more than one, of the sets of fields is given."""
    whole = [way for way in group if given.has(*way)]
    begun = [way for way in group if any(given.has(name) for name in way)]
    written = joined("fault.or", [joined("fault.with", way) for way in group])
    if not begun:
        faults.add(TOP, "required", said("fault.give", choice=written))
    elif not whole and len(begun) == 1:
        for name in begun[0]:
            if not given.has(name):
                faults.add((TOP, name), "required", said("fault.missing_give", name=name, choice=written))
    elif len(begun) > 1:
        extra = next(name for way in begun[1:] for name in way if given.has(name) and name not in begun[0])
        faults.add((TOP, extra), "invalid", said("fault.give_one", choice=written))


def _asked(found: Calculation, raw: object, given: Given, reader: Reader) -> dict[str, str]:
    """Return the units that are asked for answers, each checked against what the answer can measure."""
    if raw is None:
        return {}
    at = (TOP, "in")
    units = {one.name: one for one in found.results if one.dimensions}
    fields = reader.fields(raw, at, frozenset(units), what="in")
    asked: dict[str, str] = {}
    for name, wanted in (fields or {}).items():
        if name not in units:
            continue
        if not isinstance(wanted, str):
            reader.faults.add((at, name), "invalid", said("fault.unit_is_text"))
            continue
        try:
            dimension = unit(wanted).dimension
        except QuantityError as fault:
            reader.faults.add((at, name), fault.code, fault.text)
            continue
        if dimension not in units[name].dimensions:
            known = joined("fault.or", units[name].dimensions)
            detail = said("fault.answer_measures", unit=wanted, dimension=dimension, name=name, wanted=known)
            reader.faults.add((at, name), "unit_kind", detail)
            continue
        asked[name] = wanted
    return asked


def _written(value: object) -> object:
    """Return an answer as JSON: amounts as quantities, fractions as decimal texts."""
    if isinstance(value, Amount):
        return value.as_json()
    if isinstance(value, Fraction):
        return exact.text(value)
    if isinstance(value, Mapping):
        return {key: _written(one) for key, one in value.items()}
    if isinstance(value, (tuple, list)):
        return [_written(one) for one in value]
    return value
