"""The forms of one work order: what a crew is asked at the start, for a load, at the end and at a stop."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from django.utils.translation import gettext as _

from mixing.quantities import QuantityError, parse_quantity
from orchard.blocks.models import Block
from orchard.crews.models import Worker
from orchard.inventory.models import Reservation
from orchard.tasks.models import Incident, WorkOrder
from orchard.tasks.papers import wording
from orchard.tasks.states import HOLD_REASONS
from orchard.web.fields import Field, quantity


def accept(order: WorkOrder) -> list[Field]:
    """Return what taking an order on tells."""
    return [_revision(order)]


def start(order: WorkOrder, *, near: Iterable[Block]) -> list[Field]:
    """Return what is measured and seen on the spot; first of all, where the crew stands."""
    fields = [_revision(order), Field("at", kind="hidden", now=True), *_sign(order, near)]
    if order.kind != "spray":
        return fields
    units = order.farm.units
    most, most_unit = wind_limit(order)
    told = _("At most {limit} by the label or the farm.").format(limit=f"{most} {most_unit}") if most else ""
    return [
        *fields,
        quantity(
            "observed.wind",
            _("Wind"),
            of="speed",
            units=units,
            required=True,
            help=told,
            most=most,
            most_unit=most_unit,
        ),
        quantity("observed.temperature", _("Temperature"), of="temperature", units=units, required=True),
        Field("observed.humidity_percent", _("Humidity in per cent"), "number"),
        Field(
            "observed.rain_within_h",
            _("Hours until rain"),
            "number",
            help=_("Leave empty if no rain is known."),
        ),
        quantity(
            "observed.minimum_next_24h", _("Coldest in the next 24 hours"), of="temperature", units=units
        ),
        Field("observed.inversion:bool", _("Air stands still, smoke or mist hangs in a layer"), "tick"),
        Field("observed.bbch:int", _("Stage of the buds (BBCH)"), "number"),
        Field(
            "observed.people_out:bool",
            _("Everybody is out of the block and away from its edge"),
            "tick",
            required=True,
        ),
        Field("observed.source", _("Measured with")),
    ]


def _sign(order: WorkOrder, near: Iterable[Block]) -> list[Field]:
    """Return the question which block the sign on the spot names, with no answer chosen beforehand."""
    if order.block is None:
        return []
    names = sorted((one.name, str(one.id)) for one in near)
    return [
        Field(
            "block",
            _("Which block does the sign say?"),
            "choice",
            help=_("Look at the sign where you stand, then choose."),
            required=True,
            choices=(("", _("Choose")), *((id, name) for name, id in names)),
            only=str(order.block.id),
        )
    ]


def wind_limit(order: WorkOrder) -> tuple[str, str]:
    """Return the lowest wind that a label or the farm still allows, as said; empty where nobody says."""
    request = order.mix_check.request if order.mix_check else {"products": []}
    uses = [use for one in request["products"] for use in one["label"].get("uses") or []]
    told = [(use.get("wind") or {}).get("maximum") for use in uses]
    told.append((order.farm.limits or {}).get("wind_maximum"))
    found = [one for one in told if one]
    if not found:
        return "", ""
    lowest = min(found, key=_speed)
    return lowest["value"], lowest["unit"]


def _speed(raw: Any) -> Any:
    try:
        return parse_quantity(raw).in_base()
    except QuantityError:  # a label that says it otherwise limits nothing here; the check reads it
        return 10**9


def record_load(order: WorkOrder, *, number: int, people: Sequence[Worker], worker: Any) -> list[Field]:
    """Return what is told of one load; amounts stand as planned unless the crew says otherwise."""
    plan = {load["number"]: load for load in order.loads_planned}
    spray = (plan.get(number) or {}).get("spray") or {}
    own = str(worker) if worker in [one.id for one in people] else ""
    units = order.farm.units
    mixed = quantity("spray", _("Spray mixed"), of="volume", units=units, required=True)
    fields = [
        Field("id", kind="hidden"),
        Field("at", kind="hidden", now=True),
        Field("number:int", _("Load number"), "number", required=True, value=str(number)),
        _with(mixed, spray),
        Field("mixed_by", _("Mixed by"), "choice", choices=_people(people), value=own),
        Field("trees_done:int", _("Trees sprayed with it"), "number"),
        Field("note", _("Note"), "long"),
    ]
    for place, one in enumerate(order.products):
        fields.append(Field(f"products.{place}.product", kind="hidden", value=one["product"]))
    return fields


def other_amounts(order: WorkOrder, *, reserved: Iterable[Reservation], names: dict[str, str]) -> list[Field]:
    """Return the fields for a load that took other amounts or lots than planned."""
    fields: list[Field] = []
    for place, one in enumerate(order.products):
        lots = [row for row in reserved if str(row.product.id) == one["product"]]
        if not lots:
            continue
        name, unit = names.get(one["product"], ""), _unit_of(order, one["product"])
        units = tuple((code, wording.unit(code)) for code in dict.fromkeys((unit, *UNITS_OF.get(unit, ()))))
        choices = tuple((str(row.lot.id), row.lot.number) for row in lots)
        base = f"products.{place}.lots.0"
        fields += [
            Field(
                f"{base}.amount",
                _("{product}: amount used").format(product=name),
                "quantity",
                units=units,
                unit=unit,
            ),
            Field(
                f"{base}.lot",
                _("{product}: lot").format(product=name),
                "choice",
                choices=choices,
                required=True,
            ),
        ]
    return fields


UNITS_OF = {
    **dict.fromkeys(("oz_wt", "lb"), ("oz_wt", "lb", "g")),
    **dict.fromkeys(("g", "kg"), ("g", "kg")),
    **dict.fromkeys(
        ("fl_oz", "tbsp", "tsp", "cup", "pt", "qt", "gal"), ("tsp", "tbsp", "fl_oz", "cup", "qt", "gal")
    ),
    **dict.fromkeys(("mL", "L"), ("mL", "L")),
}


def _unit_of(order: WorkOrder, product: str) -> str:
    totals = {one["id"]: one["exact"]["unit"] for one in order.totals if one.get("exact")}
    return str(totals.get(product, "g"))


def finish(order: WorkOrder, *, incidents: Sequence[Incident], near: Iterable[Block]) -> list[Field]:
    """Return what is told at the end."""
    fields = [Field("id", kind="hidden"), Field("finished_at", kind="hidden", now=True)]
    if order.kind == "spray":
        fields += [
            Field(f"incidents.{place}", kind="hidden", value=str(one.id))
            for place, one in enumerate(incidents)
        ]
        if not incidents:
            fields.append(
                Field(
                    "nothing_unusual:bool",
                    _("Nothing unusual happened: no spill, no drift, nobody touched by spray"),
                    "tick",
                    required=True,
                )
            )
        fields += [
            quantity("leftover.volume", _("Left in the tank"), of="volume", units=order.farm.units),
            Field("leftover.fate", _("What became of it"), "choice", choices=_fates()),
            Field("leftover.block", _("If sprayed out: on which block"), "choice", choices=_places(near)),
        ]
    return [*fields, Field("note", _("Note"), "long")]


def _places(blocks: Iterable[Block]) -> tuple[tuple[str, str], ...]:
    return (("", _("not sprayed out")), *((str(one.id), one.name) for one in blocks))


def _fates() -> tuple[tuple[str, str], ...]:
    return (
        ("", _("nothing was left")),
        ("sprayed_out", _("sprayed out")),
        ("kept_labelled", _("kept, with its label on")),
        ("disposed", _("disposed of as the label says")),
    )


def hold() -> list[Field]:
    """Return what is told when the work stops."""
    words = {
        "wind": _("Wind"),
        "rain": _("Rain"),
        "frost": _("Frost"),
        "heat": _("Heat"),
        "people": _("People near"),
        "fault": _("Something broke"),
        "stage": _("Buds at another stage"),
        "other": _("Something else"),
    }
    choices = tuple((code, words.get(code, code)) for code in HOLD_REASONS)
    return [
        Field("at", kind="hidden", now=True),
        Field("reason", _("Why do you stop?"), "choice", choices=choices, required=True),
        Field("note", _("Note"), "long"),
    ]


def resume() -> list[Field]:
    """Return what is told when it goes on."""
    return [Field("at", kind="hidden", now=True), Field("note", _("Note"), "long")]


def _revision(order: WorkOrder) -> Field:
    return Field("revision:int", kind="hidden", value=str(order.revision))


def _with(field: Field, raw: Any) -> Field:
    return replace(field, value=raw["value"], unit=raw["unit"]) if raw else field


def _people(people: Sequence[Worker]) -> tuple[tuple[str, str], ...]:
    return (("", _("nobody named")), *((str(one.id), one.name) for one in people))
