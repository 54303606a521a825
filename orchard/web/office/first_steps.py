"""From an empty farm to a first checked mix in five steps, each a form on the page itself."""

from __future__ import annotations

import zoneinfo
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.http import HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _
from uuid6 import uuid7

from mixing import formulation_types
from orchard.blocks import queries as blocks
from orchard.crews import queries as crews
from orchard.crews.models import SPRAYER_KINDS
from orchard.farms import fence
from orchard.inventory import queries as stock
from orchard.tasks import check_queries
from orchard.tasks.papers import wording
from orchard.web import acting, fields
from orchard.web.crew.work import Form
from orchard.web.doors import Visit, farm_page
from orchard.web.fields import Field
from orchard.web.office.mix import RATES

CROPS = ("peach", "nectarine", "apricot", "plum", "cherry", "almond", "apple", "pear")


@dataclass(frozen=True, slots=True)
class Step:
    """One step.

    :ivar path: where its form is sent, below the farm; empty for the last, which is a page
    """

    name: str
    title: str
    why: str
    path: str
    done: bool
    form: Form | None = None


@farm_page("block", "create", acts=True)
def first_steps(visit: Visit) -> HttpResponse:
    """Show the five steps; the first that is not done has its form open."""
    if visit.request.method != "POST":
        return _page(visit)
    with fence.opened(visit.farm.id):
        step = next((one for one in _steps(visit) if one.name == visit.request.POST.get("step")), None)
    if step is None or not step.path:
        return _page(visit)
    body = acting.body_of(visit.request.POST)
    body.pop("step", None)
    headers = {"Idempotency-Key": visit.request.POST.get("key") or str(uuid7())}
    answer = acting.call(visit.request, f"{visit.farm.path}/{step.path}", body, headers=headers)
    if answer.status_code < 400:
        return HttpResponseRedirect(reverse("first-steps", args=[visit.farm.id]))
    return _page(visit, at=step.name, faults=acting.problem(answer)["errors"], status=answer.status_code)


def _page(visit: Visit, *, at: str = "", faults: Any = (), status: int = 200) -> HttpResponse:
    with fence.opened(visit.farm.id):
        steps = _steps(visit)
    following = at or next((one.name for one in steps if not one.done), "")
    forms = {name: make(visit) for name, make in FORMS.items() if name == following}
    known, wrong = forms.get(following, []), list[str]()
    if faults:
        typed = fields.typed(known, visit.request.POST.dict())
        known, wrong = fields.judged(typed, faults)
        wrong = fields.on_top(known, wrong)
    form = Form(following, known, [], wrong, str(uuid7())) if known else None
    return visit.show(
        "web/office/first_steps.html", status=status, steps=steps, following=following, form=form
    )


def _steps(visit: Visit) -> list[Step]:
    """Return the steps, each done where the farm has what it makes."""
    farm = visit.farm
    product = stock.products(farm=farm).filter(archived=False).order_by("created_at", "id").first()
    labelled = product is not None and stock.labels(product=product).exists()
    return [
        Step(
            "block",
            _("A block"),
            _("Where the trees stand, and how many they are."),
            "blocks",
            blocks.blocks(farm=farm).exists(),
        ),
        Step(
            "sprayer",
            _("A sprayer"),
            _("What you spray with, and what its tank holds."),
            "sprayers",
            crews.plain_sprayers(farm=farm).exists(),
        ),
        Step("product", _("A product"), _("What stands in the store."), "products", product is not None),
        Step(
            "label",
            _("Its label"),
            _("What the label says: copy it with care, since every check rests on it."),
            f"products/{product.id}/labels" if product else "",
            labelled,
        ),
        Step(
            "mix",
            _("A checked mix"),
            _("May it be sprayed, how much, and in which order?"),
            "",
            check_queries.mix_checks(farm=farm).exists(),
        ),
    ]


def _block(visit: Visit) -> list[Field]:
    crops = (("", _("Choose")), *((name, wording.crop(name)) for name in CROPS))
    length = (("ft", "ft"), ("m", "m"))
    own = "ft" if visit.farm.units == "us" else "m"
    return [
        Field("name", _("Name"), required=True),
        Field("crop", _("Crop"), "choice", choices=crops, required=True),
        Field("trees:int", _("Number of trees"), "number"),
        Field("row_spacing", _("From row to row"), "quantity", units=length, unit=own),
        Field("tree_spacing", _("From tree to tree"), "quantity", units=length, unit=own),
    ]


def _sprayer(visit: Visit) -> list[Field]:
    names = {
        "hand_pump": _("Hand pump"),
        "backpack": _("Backpack"),
        "handgun": _("Handgun"),
        "airblast": _("Airblast"),
        "boom": _("Boom"),
    }
    kinds = (("", _("Choose")), *((kind, names[kind]) for kind in SPRAYER_KINDS if kind in names))
    return [
        Field("name", _("Name"), required=True),
        Field("kind", _("Kind"), "choice", choices=kinds, required=True),
        fields.quantity("tank", _("What the tank holds"), of="volume", units=visit.farm.units, required=True),
    ]


def _product(visit: Visit) -> list[Field]:
    kept = ("lb", "gal") if visit.farm.units == "us" else ("kg", "L")
    return [
        Field("name", _("Name: active ingredient and formulation"), required=True),
        Field(
            "stock_unit",
            _("Kept in"),
            "choice",
            choices=tuple((one, wording.unit(one)) for one in kept),
            required=True,
            value=kept[0],
        ),
    ]


def _label(visit: Visit) -> list[Field]:
    today = visit.now.astimezone(zoneinfo.ZoneInfo(visit.farm.zone)).date()
    rates = tuple((name, wording.unit(name)) for name in RATES[visit.farm.units])
    share = (("percent_ww", "% w/w"), ("g/L", "g/L"), ("g/kg", "g/kg"), ("lb/gal", "lb/gal"))
    codes = (("", _("Choose")), *((one, one) for one in sorted(formulation_types.all_types())))
    signals = (
        ("", _("Choose")),
        ("danger", _("DANGER")),
        ("warning", _("WARNING")),
        ("caution", _("CAUTION")),
    )
    crops = (("", _("Choose")), *((name, wording.crop(name)) for name in CROPS))
    return [
        Field("effective_from", kind="hidden", value=today.isoformat()),
        Field("label.name", _("Name on the label"), required=True),
        Field("label.registration", _("Registration number")),
        Field("label.active_ingredients.0.name", _("Active ingredient"), required=True),
        Field(
            "label.active_ingredients.0.content", _("Its content"), "quantity", units=share, unit=share[0][0]
        ),
        Field("label.formulation", _("Formulation"), "choice", choices=codes),
        Field("label.signal_word", _("Signal word"), "choice", choices=signals),
        Field(
            "label.uses.0.crops.0", _("Crop that it is labelled for"), "choice", choices=crops, required=True
        ),
        Field(
            "label.uses.0.rate.maximum",
            _("Highest rate"),
            "quantity",
            units=rates,
            unit=rates[0][0],
            required=True,
        ),
        Field(
            "label.uses.0.re_entry",
            _("Re-entry interval"),
            "quantity",
            units=(("h", _("hours")), ("d", _("days"))),
            unit="h",
        ),
        Field(
            "label.uses.0.pre_harvest",
            _("Pre-harvest interval"),
            "quantity",
            units=(("d", _("days")),),
            unit="d",
        ),
    ]


FORMS: dict[str, Callable[[Visit], list[Field]]] = {
    "block": _block,
    "sprayer": _sprayer,
    "product": _product,
    "label": _label,
}
