"""The one entry point: a request for a mix check in, a report out."""

from __future__ import annotations

from decimal import localcontext
from typing import Any

from mixing import (
    absurd,
    advice,
    cautions,
    cleaning,
    compatibility,
    dosing,
    gaps,
    hose_end,
    jar_test,
    limits,
    order,
    protection,
    report,
    rulebook,
    uses,
)
from mixing import doses as dosage
from mixing import loads as loading
from mixing import scene as scenes
from mixing import totals as totalling
from mixing.faults import Faults
from mixing.findings import settle, verdict
from mixing.quantities import EXACT
from mixing.request import MixRequest
from mixing.request_reading import read_request
from mixing.rulebook import Rulebook


def check_mix(mix: object, *, language: str = "en") -> dict[str, Any]:
    """Return the report on a tank mix.

    :param mix: the request as it came from JSON, a dict
    :param language: `en` or `es`, of the sentences and the faults; all else is the same in both
    :raises MixRequestError: for a request that cannot be understood, with every fault and no dose
    """
    with localcontext(EXACT):
        return _report(read_request(mix, language=language), rulebook.load(), language)


def check_request(request: MixRequest, *, rules: Rulebook, language: str = "en") -> dict[str, Any]:
    """Return the report on a request that has been read, by the rules given.

    :raises MixRequestError: where the products fill the tank
    """
    with localcontext(EXACT):
        return _report(request, rules, language)


def _report(request: MixRequest, rules: Rulebook, language: str) -> dict[str, Any]:
    applying = uses.of_products(request)
    doses = dosage.doses(request, applying=applying)
    _refuse_full_tank(request, doses, language)
    loads = loading.loads(request, doses)
    totals = totalling.totals(request, doses)
    dial, dial_findings, dial_missing = hose_end.dial(request, doses)
    scene = scenes.of(request, rules)
    limited = limits.find(request, rules, scene=scene, applying=applying)
    steps, order_findings = order.steps(request, loads, premix_water=dial.water if dial else None)
    waiting = protection.waiting(request, applying)
    tank = advice.tank_of(request)
    worn_findings, worn_missing = protection.findings(request)
    standing, of_pairs = compatibility.find(request, rules, scene=scene)
    findings = settle(
        (
            *of_pairs,
            *limited.findings,
            *dosing.findings(doses, loads),
            *dial_findings,
            *order_findings,
            *waiting.findings,
            *worn_findings,
        ),
        order=request.order,
        standing=standing,
    )
    missing = gaps.in_order(
        (
            *limited.missing,
            *dosing.missing(doses),
            *(one for total in totals for one in total.missing),
            *dial_missing,
            *waiting.missing,
            *worn_missing,
            *order.missing(request.products),
            *gaps.of_request(request),
        ),
        products=request.order,
    )
    worst = verdict(findings)
    return {
        "verdict": worst,
        "findings": report.findings(findings, request, rules, language, standing=standing),
        "not_checked": report.not_checked(missing, language),
        "order": order.written(steps, stopped=worst == "stop", language=language),
        "loads": report.loads(loads),
        "totals": report.totals(totals),
        "dial": report.dial(dial),
        "year": report.year(limited.year) if request.at is not None else None,
        "protection": report.protection(protection.union([one.label for one in request.products])),
        "re_entry": report.re_entry(waiting.re_entry),
        "harvest": report.harvest(waiting.harvest),
        "jar_test": report.jar_test(jar_test.plan(request, findings, dosed=doses), language),
        "cleaning": [
            {"step": number, "says": says} for number, says in enumerate(cleaning.steps(tank, language), 1)
        ],
        "cautions": list(cautions.lines(tank, language)),
        "rules": {"version": rules.version, "count": rules.count},
    }


def _refuse_full_tank(request: MixRequest, doses: tuple[dosage.Dose, ...], language: str) -> None:
    faults = Faults(language)
    absurd.note_full_tank(request, doses, faults)
    faults.refuse()
