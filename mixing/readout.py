"""A report as lines for a person with a jug: what is wrong, what to wear, mix, and do afterwards."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping
from decimal import ROUND_DOWN, Decimal
from typing import Any

from mixing import catalogue
from mixing.quantities import plain

WIDTH = 100
Report = Mapping[str, Any]


def readout(report: Report, *, language: str = "en") -> str:
    """Return the report as text, whole sentences in lines of at most a hundred characters.

    :param report: as `check_mix` gives it, in the same language
    """
    sections = (
        ("findings", _findings(report, language)),
        ("not_checked", (f"{line['what']}: {line['why']}" for line in report["not_checked"])),
        ("wear", _wear(report, language)),
        ("order", _order(report, language)),
        ("loads", _loads(report)),
        ("jar_test", _jar_test(report)),
        ("cleaning", (f"{step['step']}. {step['says']}" for step in report["cleaning"])),
        ("after", _after(report, language)),
        ("cautions", iter(report["cautions"])),
    )
    told = [catalogue.render("readout.verdict", {"verdict": _verdict(report, language)}, language)]
    for name, lines in sections:
        block = [_wrapped(line) for line in lines]
        if block:
            told += ["", catalogue.render(f"readout.{name}", language=language), *block]
    return "\n".join(told)


def _wrapped(line: str) -> str:
    return textwrap.fill(line, WIDTH, initial_indent="  ", subsequent_indent="    ", break_on_hyphens=False)


def _verdict(report: Report, language: str) -> str:
    return catalogue.word("readout.verdicts", report["verdict"], language)


def _findings(report: Report, language: str) -> Iterator[str]:
    for finding in report["findings"]:
        severity = catalogue.word("readout.severities", finding["severity"], language)
        told = " ".join(finding[name] for name in ("says", "do") if finding.get(name))
        yield f"{severity}: {told} [{finding['id']}]"


def _wear(report: Report, language: str) -> Iterator[str]:
    protection = report["protection"]
    if protection and protection["handler"]:
        yield catalogue.words("gear", protection["handler"], language)
    if protection and protection["signal_word"]:
        yield catalogue.word("signal_word", protection["signal_word"], language)


def _amount(quantity: Mapping[str, str]) -> str:
    return f"{quantity['value']} {quantity['unit']}"


def _shown(quantity: Mapping[str, str]) -> str:
    """Return an amount with two digits after the point, or two that count, never more than it is.

    What to measure out stands beside it; the report itself has every digit.
    """
    value = Decimal(quantity["value"])
    places = max(2, 1 - value.adjusted()) if value else 2
    if -int(value.as_tuple().exponent) > places:
        value = value.quantize(Decimal(1).scaleb(-places), rounding=ROUND_DOWN)
    return f"{plain(value)} {quantity['unit']}"


def _order(report: Report, language: str) -> Iterator[str]:
    for step in report["order"]:
        parts = [
            _shown(step["amount"]) if step.get("amount") else "",
            step.get("product") or catalogue.word("readout.fills", step.get("what") or "", language),
            _amount(step["for"]) if step.get("for") else "",
        ]
        head = " ".join(part for part in parts if part)
        yield f"{step['step']}. {head}{': ' if head and step.get('note') else ''}{step.get('note') or ''}"


def _loads(report: Report) -> Iterator[str]:
    for load in report["loads"]:
        doses = ", ".join(_dose(product) for product in load["products"])
        yield f"{load['number']}. {_shown(load['spray'])}: {doses}"


def _dose(product: Mapping[str, Any]) -> str:
    measure = " + ".join(_amount(part) for part in product["measure"] or ())
    exact = f"{product['id']} {_shown(product['exact'])}"
    return f"{exact} = {measure}" if measure and measure != _amount(product["exact"]) else exact


def _jar_test(report: Report) -> Iterator[str]:
    jar = report["jar_test"]
    if jar and jar["needed"]:
        amounts = ", ".join(f"{one['id']} {_in_jar(one['amount'])}" for one in jar["amounts"])
        yield f"{jar['why']} {_amount(jar['water'])}: {amounts}."
        yield f"{_amount(jar['wait'])}: {'; '.join(jar['look_for'])}"


def _in_jar(quantity: Mapping[str, str] | None) -> str:
    """Return an amount for the jar as a spoon or a scale shows it: the report itself has every digit."""
    if quantity is None:
        return "?"
    value = Decimal(quantity["value"])
    places = max(2, 1 - value.adjusted()) if value else 2
    return f"{plain(value, places)} {quantity['unit']}"


def _moment(written: str) -> str:
    """Return `2027-01-30 09:00 +01:00` of a moment; a date stays as it is."""
    day, _, time = written.partition("T")
    if not time:
        return day
    return f"{day} {time[:5]} {'UTC' if time.endswith('Z') else time[-6:]}"


def _after(report: Report, language: str) -> Iterator[str]:
    for name, key in (("re_entry", "until"), ("harvest", "not_before")):
        said = report[name]
        if said and said.get(key):
            yield catalogue.render(f"readout.{name}", {"until": _moment(said[key])}, language)
        else:
            yield catalogue.render(f"readout.{name}_unknown", language=language)
