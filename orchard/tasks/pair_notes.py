"""A farm's own experience with pairs in its mix checks: stricter where it speaks, never milder."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils import translation
from django.utils.translation import gettext as _

from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.api.remembered import remembered
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.inventory.models import Product
from orchard.inventory.shelf_models import ProductDocument
from orchard.tasks.experience import PairNote
from orchard.tasks.leftovers import SEVERITIES

OWN = "farm.own-experience"


def pair_notes(*, farm: Farm, **filters: Any) -> QuerySet[PairNote]:
    """Return what the farm wrote of its pairs, with what it names."""
    rows = PairNote.objects.for_farm(farm).filter(**filters)
    return rows.select_related("farm", "first", "second", "photo__product")


def add_pair_note(
    *,
    farm: Farm,
    first: Product,
    second: Product,
    seen_in: str,
    judged: str,
    seen: str,
    seen_on: dt.date,
    by: Actor,
    now: dt.datetime,
    photo: ProductDocument | None = None,
    id: uuid.UUID | None = None,
) -> PairNote:
    """Write down what was seen of a pair.

    :param photo: a picture among the papers of one of the two products
    :raises Unprocessable: for one product twice, or a picture that is none or is of another product
    """
    faults = []
    if first == second:
        faults.append(Fault("invalid", _("name two products"), "/products/1"))
    if photo is not None and photo.product not in (first, second):
        faults.append(Fault("invalid", _("the picture is not among the papers of these products"), "/photo"))
    if photo is not None and not (photo.media_type or "").startswith("image/"):
        faults.append(Fault("invalid", _("this paper is no picture: its media type is image/…"), "/photo"))
    if faults:
        raise Unprocessable(*faults)
    values: dict[str, Any] = {
        "seen_in": seen_in,
        "judged": judged,
        "seen": seen,
        "seen_on": seen_on,
        "photo": photo,
    }
    with transaction.atomic():
        return journal.create(
            PairNote, farm=farm, by=by, now=now, id=id, first=first, second=second, **values
        )


def lift(*, note: PairNote, reason: str, by: Actor, now: dt.datetime) -> PairNote:
    """Let a note count no more; it stays where it is. The caller holds its lock.

    :raises Conflict: `state_conflict`
    """
    if note.lifted_at is not None:
        raise Conflict(Fault("state_conflict", _("this note was lifted already")))
    journal.change(note, by=by, now=now, action="lift", reason=reason, lifted_at=now, lifted_because=reason)
    return note


@remembered
def in_force(*, farm: Farm) -> tuple[PairNote, ...]:
    """Return the notes that count."""
    return tuple(pair_notes(farm=farm, lifted_at=None).order_by("id"))


def tightened(
    report: dict[str, Any], *, farm: Farm, products: list[Product], language: str
) -> dict[str, Any]:
    """Return a report with what the farm itself has seen of the pairs in it; no finding is taken away.

    A stop among them can be overridden by nobody: an owner lifts the note that it comes from.
    """
    found = {product.id: product for product in products}
    notes = [one for one in in_force(farm=farm) if one.first.id in found and one.second.id in found]
    if not notes:
        return report
    with translation.override(language):
        added = list(_findings(notes))
    findings = sorted([*report["findings"], *added], key=lambda one: SEVERITIES.index(one["severity"]))
    worst = findings[0]["severity"]
    return {**report, "findings": findings, "verdict": "ok" if worst == "note" else worst}


def _findings(notes: list[PairNote]) -> Iterator[dict[str, Any]]:
    for note in notes:
        about = {"first": note.first.name, "second": note.second.name, "seen": note.seen, "on": note.seen_on}
        yield {
            "id": f"{OWN}:{note.id}",
            "severity": note.judged,
            "basis": "practice",
            "products": [str(note.first.id), str(note.second.id)],
            "says": _("Seen on this farm on %(on)s, %(first)s with %(second)s: %(seen)s") % about,
            "why": _("What happened here may happen again."),
            "do": _("Do not mix them here unless the owner lifts this note.")
            if note.judged == "stop"
            else _("Make a jar test first and ask the adviser."),
            "source": None,
            "may_be_overridden": False,
        }
