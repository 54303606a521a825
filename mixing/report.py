"""Writes a report as JSON values: every field of the contract, in its order, null where there is nothing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from typing import Any

from mixing import catalogue
from mixing.catalogue import Text
from mixing.findings import Basis, Finding, Missing, Severity, Standing, overridable
from mixing.hose_end import Amounts, Dial
from mixing.jar_test import JarTest
from mixing.labels import Label
from mixing.limits import YearLine
from mixing.loads import Load, LoadDose, percent
from mixing.protection import Harvest, Protection, ReEntry
from mixing.quantities import Quantity
from mixing.request import MixRequest, Recipe
from mixing.rulebook import Rulebook, Source
from mixing.totals import Total

Json = dict[str, Any]


def amount(quantity: Quantity | None) -> dict[str, str] | None:
    """Return a quantity as JSON, null where there is none."""
    return None if quantity is None else quantity.as_json()


def tenths(quantity: Quantity | None) -> dict[str, str] | None:
    """Return a quantity that has been rounded to one decimal, with that decimal."""
    return None if quantity is None else {"value": str(quantity.value), "unit": quantity.unit}


def findings(
    found: Iterable[Finding], request: MixRequest, rulebook: Rulebook, language: str, *, standing: Standing
) -> list[Json]:
    """Return the findings with their sentences and sources; alike ones are written once, and copied."""
    recipe = request.recipe
    ready, by_id = _ready(standing, recipe, rulebook, language), dict(recipe.products)
    written = []
    for one in found:
        text = (ready.get(id(one)) or _finding(one, by_id, rulebook, language)).copy()
        text["products"] = list(one.products)
        if text["source"] is not None:
            text["source"] = text["source"].copy()
        written.append(text)
    return written


@lru_cache(maxsize=1024)
def _ready(standing: Standing, recipe: Recipe, rulebook: Rulebook, language: str) -> Mapping[int, Json]:
    """Return what is written of findings that stand, by the identity of each: `standing` keeps them alive."""
    by_id = dict(recipe.products)
    return {id(one): _finding(one, by_id, rulebook, language) for one in standing.by_key.values()}


def _finding(one: Finding, labels: Mapping[str, Label], rulebook: Rulebook, language: str) -> Json:
    """Return a finding as it stands in the report, without its products."""
    id, severity, basis, products, parameters, source_key, said_by = one
    label = labels[said_by or products[0]] if basis is Basis.LABEL and products else None
    named = tuple(parameters.items())
    return _written(id, severity, basis, named, source_key, label, rulebook, language)


@lru_cache(maxsize=8192)
def _written(
    id: str,
    severity: Severity,
    basis: Basis,
    named: tuple[tuple[str, str], ...],
    source_key: str | None,
    label: Label | None,
    rulebook: Rulebook,
    language: str,
) -> Json:
    """Return a finding without its products: the same of the same labels, day after day."""
    says, why, do = _sentences(id, dict(named), language)
    return {
        "id": id,
        "severity": severity.word,
        "basis": basis.value,
        "products": None,
        "says": says,
        "why": why,
        "do": do,
        "source": _source_of(id, source_key, label, rulebook),
        "may_be_overridden": overridable(severity, basis),
    }


def _sentences(
    id: str, parameters: dict[str, str], language: str
) -> tuple[str | None, str | None, str | None]:
    """Return what a finding says, why and what to do."""
    says, why, do = catalogue.render_row(id, parameters, language)
    if parameters.get("others"):
        why = " ".join(filter(None, (why, catalogue.render("finding.others", parameters, language))))
    if "residue" in parameters:  # what is in the sprayer cannot be left out of the tank
        why = " ".join(filter(None, (catalogue.render("finding.residue", parameters, language), why)))
        do = catalogue.render("finding.wash_first", language=language)
    return says, why, do


def _source_of(id: str, source_key: str | None, label: Label | None, rulebook: Rulebook) -> Json | None:
    """Return the publication, or the label that a finding rests on; practice and silence have none."""
    if source_key:
        published = rulebook.sources.get(source_key)
        return None if published is None else source(published, rulebook.rule(id).locator)
    return None if label is None else _label_source(label.name, label.registration)


def source(published: Source, locator: str | None = None) -> Json:
    """Return a source, with the place in it."""
    where = f"{published.where}, {locator}" if locator else published.where
    return {
        "title": published.title,
        "publisher": published.publisher,
        "year": published.year,
        "where": where,
    }


def not_checked(missing: Iterable[Missing], language: str) -> list[Json]:
    """Return what was not checked, and why not."""
    return [{"what": one.what, "why": one.why.render(language)} for one in missing]


def loads(all_loads: Sequence[Load]) -> list[Json]:
    """Return the loads; full ones are alike and are written once."""
    written: list[Json] = []
    for load in all_loads:
        alike = written[-1] if written and load.products is all_loads[load.number - 2].products else None
        written.append(
            {**alike, "number": load.number}
            if alike
            else {
                "number": load.number,
                "spray": load.spray.as_json(),
                "water": load.water.as_json(),
                "products": [_load_dose(dose) for dose in load.products],
            }
        )
    return written


def _load_dose(dose: LoadDose) -> Json:
    id, exact, measure, error, base = dose
    return {
        "id": id,
        "exact": None if exact is None else exact.as_json(),
        "measure": None if measure is None else [one.as_json() for one in measure],
        "error_percent": "0.0" if error == 0 else percent(error),
        "base": tenths(base),
    }


def totals(all_totals: Iterable[Total]) -> list[Json]:
    """Return what the job takes of each product."""
    return [
        {
            "id": total.id,
            "exact": None if total.exact is None else total.exact.as_json(),
            "base": tenths(total.base),
            "per_area": None if total.per_area is None else total.per_area.as_json(),
            "metal": [
                {"of": metal.of, "amount": tenths(metal.amount), "from": metal.given_by}
                for metal in total.metal
            ],
        }
        for total in all_totals
    ]


def dial(found: Dial | None) -> Json | None:
    """Return the dial of a hose-end sprayer."""
    if found is None:
        return None
    return {
        "setting": amount(found.setting),
        "wanted": amount(found.wanted),
        "error_percent": percent(found.error),
        "premix": _amounts(found.premix),
        "per_jar": None if found.per_jar is None else _amounts(found.per_jar),
        "water": amount(found.water),
        "water_per_jar": amount(found.water_per_jar),
        "jar_makes": amount(found.jar_makes),
        "jars": found.jars,
    }


def _amounts(amounts: Amounts) -> list[Json]:
    return [{"id": product, "amount": amount(quantity)} for product, quantity in amounts]


def year(lines: Iterable[YearLine]) -> list[Json]:
    """Return what was used of limited substances, and what it will be after this tank."""
    return [
        {
            "of": line.of,
            "used": amount(line.used),
            "after": amount(line.after),
            "maximum": amount(line.maximum),
            "source": _label_source(line.label, line.registration)
            if line.source is None
            else source(line.source),
            "years": line.years,
        }
        for line in lines
    ]


def _label_source(name: str | None, registration: str | None) -> Json | None:
    if name is None:
        return None
    return {"title": name, "publisher": None, "year": None, "where": registration}


def protection(worn: Protection) -> Json:
    """Return what to wear and the strictest signal word."""
    return {
        "handler": list(worn.handler),
        "early_entry": list(worn.early_entry),
        "signal_word": worn.signal_word,
    }


def re_entry(found: ReEntry) -> Json:
    """Return the longest interval and its end."""
    return {
        "interval": amount(found.interval),
        "until": None if found.until is None else found.until.isoformat(),
    }


def harvest(found: Harvest) -> Json:
    """Return the longest wait and the first day of harvest."""
    return {
        "interval": amount(found.interval),
        "not_before": None if found.not_before is None else found.not_before.isoformat(),
    }


def jar_test(test: JarTest, language: str) -> Json:
    """Return the jar test."""
    return {
        "needed": test.needed,
        "why": test.why.render(language),
        "water": test.water.as_json(),
        "amounts": [{"id": one.id, "amount": amount(one.amount)} for one in test.amounts],
        "wait": test.wait.as_json(),
        "look_for": list(_signs(test.look_for, language)),
    }


@lru_cache(maxsize=16)
def _signs(signs: tuple[Text, ...], language: str) -> tuple[str, ...]:
    return tuple(sign.render(language) for sign in signs)
