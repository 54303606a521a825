"""May these share a tank, here and now? A check by form, with its reasons, its order and its amounts."""

from __future__ import annotations

import json
from typing import Any

from django.http import HttpResponse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from orchard.blocks import queries as blocks
from orchard.crews import queries as crews
from orchard.farms import fence
from orchard.inventory import queries as stock
from orchard.tasks.papers import wording
from orchard.web import acting, fields
from orchard.web.crew.work import Form
from orchard.web.doors import Visit, farm_page
from orchard.web.fields import Field
from orchard.web.office import gaps

PRODUCTS = 4
US_RATES = (
    *("oz_wt/gal", "fl_oz/gal", "tbsp/gal", "lb/100gal", "fl_oz/100gal", "pt/100gal"),
    *("percent_vv", "lb/acre", "pt/acre", "fl_oz/acre"),
)
METRIC_RATES = (
    *("g/L", "mL/L", "g/100L", "mL/100L"),
    *("percent_vv", "kg/ha", "L/ha", "g/ha", "mL/ha"),
)
RATES = {"us": US_RATES, "metric": METRIC_RATES}
VERDICTS = {
    "stop": ("✗", "wrong", gettext_lazy("Do not spray this.")),
    "caution": ("⚠", "watch", gettext_lazy("Only with care: read what follows.")),
    "ok": ("✓", "good", gettext_lazy("Nothing known stands against it.")),
}


@farm_page("mix_check", "create", acts=True)
def mix(visit: Visit) -> HttpResponse:
    """Ask what is to be mixed, and show the report."""
    if visit.request.method != "POST":
        return _page(visit, _fields(visit), [])
    typed = fields.typed(_fields(visit), visit.request.POST.dict())
    body = {**_body(visit), "dry_run": True}
    answer = acting.call(visit.request, f"{visit.farm.path}/mix-checks", body, headers={})
    if answer.status_code >= 400:
        known, wrong = fields.judged(typed, acting.problem(answer)["errors"])
        return _page(visit, known, fields.on_top(known, wrong), status=answer.status_code)
    return _page(visit, typed, [], told=json.loads(answer.content))


def _body(visit: Visit) -> dict[str, Any]:
    """Return the body; products that were left empty are left out."""
    body = acting.body_of(visit.request.POST)
    body["products"] = [one for one in body.get("products") or [] if "product" in one]
    return body


def _fields(visit: Visit) -> list[Field]:
    empty = ("", _("Choose"))
    with fence.opened(visit.farm.id):
        places = [(str(one.id), one.name) for one in blocks.blocks(farm=visit.farm).filter(archived=False)]
        tools = [(str(one.id), one.name) for one in crews.plain_sprayers(farm=visit.farm)]
        shelf = [(str(one.id), one.name) for one in stock.products(farm=visit.farm).filter(archived=False)]
    rates = tuple((name, wording.unit(name)) for name in RATES[visit.farm.units])
    found = [
        Field("block", _("Block"), "choice", choices=(empty, *places), required=True),
        Field("sprayer", _("Sprayer"), "choice", choices=(empty, *tools), required=True),
        fields.quantity("spray.total", _("Spray in all"), of="volume", units=visit.farm.units),
    ]
    for place in range(PRODUCTS):
        number = place + 1
        found += [
            Field(
                f"products.{place}.product",
                _("Product {number}").format(number=number),
                "choice",
                choices=(empty, *shelf),
                required=place == 0,
            ),
            Field(
                f"products.{place}.rate",
                _("Rate of product {number}").format(number=number),
                "quantity",
                units=rates,
                unit=rates[0][0],
                required=place == 0,
            ),
        ]
    return [*found, Field("stage.bbch:int", _("Stage (BBCH), if not as last seen"), "number")]


def _page(
    visit: Visit, known: list[Field], wrong: list[str], *, told: Any = None, status: int = 200
) -> HttpResponse:
    shown: dict[str, Any] = {"form": Form("mix", known, [], wrong, ""), "report": None}
    if told is not None:
        report, names = told["report"], _names(visit)
        sign, look, words = VERDICTS[report["verdict"]]
        shown |= {
            "report": report,
            "sign": sign,
            "look": look,
            "verdict": words,
            "findings": [
                {**one, "about": ", ".join(names.get(id, id) for id in one["products"])}
                for one in report["findings"]
            ],
            "not_checked": [
                (gaps.in_words(one["what"], names=names), one["why"]) for one in report["not_checked"]
            ],
            "steps": [_step(one, names) for one in report["order"]],
            "loads": [_load(one, names) for one in report["loads"]],
        }
    return visit.show("web/office/mix.html", status=status, **shown)


def _names(visit: Visit) -> dict[str, str]:
    with fence.opened(visit.farm.id):
        return {str(one.id): one.name for one in stock.products(farm=visit.farm)}


def _step(step: dict[str, Any], names: dict[str, str]) -> dict[str, str]:
    return {
        "name": names.get(step.get("product", ""), ""),
        "amount": wording.quantity(step.get("amount")),
        "note": step["note"],
    }


def _load(load: dict[str, Any], names: dict[str, str]) -> dict[str, Any]:
    return {
        "number": load["number"],
        "spray": wording.quantity(load["spray"]),
        "products": [
            {
                "name": names.get(one["id"], one["id"]),
                "amount": wording.measured(one["measure"])
                if one["measure"]
                else wording.quantity(one["exact"]),
            }
            for one in load["products"]
        ],
    }
