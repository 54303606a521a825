"""The tank sheet of a work order: for each load what to measure, in which order, with what on.

The amounts are those that the order froze when it was issued. Notes and washing are worded anew in the
reader's language from the request that was checked; where that can no longer be read they stay as they were.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from django.utils.translation import gettext as _

import mixing
from mixing import catalogue
from mixing.tank_steps import steps_by_load
from orchard.api.refusals import Conflict, Fault
from orchard.api.spoken import spoken
from orchard.tasks import programme_queries
from orchard.tasks.models import WorkOrder
from orchard.tasks.papers import wording

Json = dict[str, Any]
PAGE = "/farms/{farm}/work/{order}"
"""Where the order is read on a phone: what the square code on paper leads to."""

NO_SHEET = ("draft", "cancelled")


def page_of(order: WorkOrder) -> str:
    """Return the address of the order's page for the crew."""
    return PAGE.format(farm=order.farm.id, order=order.id)


def of_order(*, order: WorkOrder, address: str) -> Json:
    """Return the sheet, its sentences in the language that is active.

    :param address: of the order's page, whole, for the square code
    :raises Conflict: `state_conflict` for a draft or a cancelled order: nobody shall mix from it
    """
    if order.status in NO_SHEET:
        detail = _("a work order that is %(status)s has no sheet to mix from") % {
            "status": spoken(order.status)
        }
        raise Conflict(Fault("state_conflict", detail, refers_to=("work_order", str(order.id))))
    report = _report(order)
    worn = report.get("protection") or {}
    names = programme_queries.product_names(farm=order.farm, ids={one["id"] for one in order.totals})
    return {
        **_heading(order, address),
        "signal_word": _signal(worn.get("signal_word")),
        "wear": [catalogue.word("gear", one, wording.language()) for one in worn.get("handler") or []],
        "wear_in_treated_block": [
            catalogue.word("gear", one, wording.language()) for one in worn.get("early_entry") or []
        ],
        "watch": [_watch(one) for one in report.get("findings") or [] if one["severity"] != "note"],
        "before": list(_before(order)),
        "loads": list(_loads(order, report, names)),
        "dial": report.get("dial"),
        "totals": [{"product": one["id"], "name": names.get(one["id"], ""), **one} for one in order.totals],
        "after": [one["says"] for one in report.get("cleaning") or []],
        "re_entry": (report.get("re_entry") or {}).get("interval"),
        "harvest": (report.get("harvest") or {}).get("interval"),
        "cautions": report.get("cautions") or [],
    }


def _heading(order: WorkOrder, address: str) -> Json:
    return {
        "work_order": str(order.id),
        "number": order.number,
        "revision": order.revision,
        "status": order.status,
        "kind": order.kind,
        "title": order.called,
        "instructions": order.instructions,
        "language": wording.language(),
        "url": address,
        "farm": order.farm.name,
        "emergency": order.farm.emergency,
        "block": _named(order.block, crop=order.block.crop) if order.block else None,
        "sprayer": _named(order.sprayer, kind=order.sprayer.kind) if order.sprayer else None,
        "crew": _named(order.crew) if order.crew else None,
        "handlers": [_named(one) for one in order.handlers.all()],
        "starts_at": order.starts_at,
        "targets": [catalogue.named(one, wording.language()) for one in order.targets],
        "spray": (order.spray or {}).get("total"),
    }


def _named(row: Any, **more: Any) -> Json:
    return {"id": str(row.id), "name": row.name, **more}


def _signal(code: str | None) -> str | None:
    return catalogue.word("signal_word", code, wording.language()) if code else None


def _watch(finding: Mapping[str, Any]) -> str:
    return " ".join(finding[name] for name in ("says", "do") if finding.get(name))


def _report(order: WorkOrder) -> Json:
    """Return the report that the order rests on, worded in the active language."""
    if order.mix_check is None:
        return {}
    kept: Json = order.mix_check.report
    try:
        anew = mixing.check_mix(order.mix_check.request, language=wording.language())
    except mixing.MixRequestError:
        return kept
    same_rules = anew["rules"]["version"] == kept["rules"]["version"]
    return anew if same_rules else {**kept, "cleaning": anew["cleaning"], "cautions": anew["cautions"]}


def _before(order: WorkOrder) -> Iterator[str]:
    """Yield what to look at before the start."""
    if order.kind != "spray":
        return
    yield _("The label of every product lies here and was read. It is the law.")
    yield _("Everybody has on what is listed here. Clean water, soap and eye wash stand at the mixing place.")
    yield _("Nobody is in the block, and nobody without protection is near it.")
    yield _("Wind, temperature and hours until rain were measured here and written down.")
    yield _("The buds are at the stage that was planned.")
    yield _("The sprayer is clean, tight and calibrated.")


def _loads(order: WorkOrder, report: Json, names: Mapping[str, str]) -> Iterator[Json]:
    """Yield each load: the amounts as frozen, the steps as the tank asks for."""
    steps = _steps(order, report)
    for load in order.loads_planned:
        frozen = {one["id"]: one for one in load["products"]}
        yield {
            "number": load["number"],
            "spray": load["spray"],
            "water": load["water"],
            "steps": [_step(one, frozen, names) for one in steps.get(load["number"], [])],
        }


def _steps(order: WorkOrder, report: Json) -> dict[int, list[Json]]:
    numbers = [load["number"] for load in order.loads_planned]
    if order.mix_check is None:
        return {}
    try:
        found = steps_by_load(order.mix_check.request, language=wording.language())
    except mixing.MixRequestError:
        return dict.fromkeys(numbers, report.get("order") or [])
    return {one["number"]: one["steps"] for one in found}


def _step(step: Json, frozen: Mapping[str, Json], names: Mapping[str, str]) -> Json:
    """Return one step; the amounts of a product are the frozen ones."""
    shown = {
        "step": step["step"],
        "action": step["action"],
        "note": step["note"],
        "for": step.get("for"),
        "product": step.get("product"),
        "name": names.get(step["product"]) if step.get("product") else _water(step.get("what")),
        "exact": step.get("amount"),
        "measure": step.get("measure") or [],
    }
    if step.get("product") in frozen:
        dose = frozen[step["product"]]
        shown |= {"exact": dose["exact"], "measure": dose["measure"] or []}
    return shown


def _water(what: str | None) -> str | None:
    return _("Water") if what == "water" else what
