"""The store at a glance: what there is, what runs out or expires first, what to buy, what stands wrong."""

from __future__ import annotations

import datetime as dt
import uuid
import zoneinfo
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.http import HttpResponse, HttpResponseRedirect
from django.urls import reverse
from uuid6 import uuid7

from mixing.quantities import EXACT, plain
from orchard.farms import fence
from orchard.inventory import amounts, queries, storage_queries
from orchard.inventory.models import Lot, Product
from orchard.tasks import need_queries
from orchard.tasks.need_queries import PurchaseNeed
from orchard.tasks.papers import wording
from orchard.web import acting, fields
from orchard.web.crew.work import Form
from orchard.web.doors import Visit, farm_page
from orchard.web.office import questions

SOON = dt.timedelta(days=60)


@dataclass(frozen=True, slots=True)
class Shelf:
    """One product in its unit of stock.

    :ivar expires: the day the first lot that holds something expires
    :ivar soon: that day is past, or within sixty days
    :ivar over: that day is past
    """

    product: Product
    on_hand: str
    reserved: str
    available: str
    expires: dt.date | None
    soon: bool
    over: bool
    lots: list[dict[str, Any]]
    need: dict[str, Any] | None


@farm_page("stock")
def store(visit: Visit) -> HttpResponse:
    """Show the store, what is short first, then what expires first."""
    return _page(visit)


@farm_page("shortage", "answer", acts=True)
def answer(visit: Visit, shortage: uuid.UUID) -> HttpResponse:
    """Write down what was found out; what stands against it is told on the page of the store."""
    here = reverse("store", args=[visit.farm.id])
    if visit.request.method != "POST":
        return HttpResponseRedirect(here)
    with fence.opened(visit.farm.id):
        row = queries.shortages(farm=visit.farm).filter(id=shortage).first()
    if row is None:
        return visit.missing()
    posted = visit.request.POST
    headers = {"If-Match": row.etag, "Idempotency-Key": posted.get("key") or str(uuid7())}
    told = acting.call(visit.request, f"{row.path}/actions/answer", acting.body_of(posted), headers=headers)
    if told.status_code < 400:
        return HttpResponseRedirect(f"{here}#questions")
    known, wrong = fields.judged(
        fields.typed(questions.asked_of(), posted.dict()), acting.problem(told)["errors"]
    )
    refused = Form(questions.name_of(row), known, [], wrong, posted.get("key") or str(uuid7()))
    with fence.opened(visit.farm.id):
        return _page(visit, refused=refused, status=told.status_code)


def _page(visit: Visit, *, refused: Form | None = None, status: int = 200) -> HttpResponse:
    today = visit.now.astimezone(zoneinfo.ZoneInfo(visit.farm.zone)).date()
    needs = need_queries.purchase_needs(farm=visit.farm, at=visit.now)
    rows: Iterable[Any] = queries.stock(farm=visit.farm, on=today).order_by("name", "id")
    shelves = [_shelf(row, needs.get(row.pk), today=today) for row in rows]
    shelves.sort(key=lambda one: (one.need is None, one.expires or dt.date.max, one.product.name))
    language = wording.language()
    found = [one.says(language) for one in storage_queries.findings(farm=visit.farm, on=today)]
    asked = questions.questions(visit, refused=refused)
    return visit.show(
        "web/office/store.html", status=status, shelves=shelves, findings=found, questions=asked, today=today
    )


def _shelf(product: Any, need: PurchaseNeed | None, *, today: dt.date) -> Shelf:
    lots: list[Lot] = list(product.counted)
    held = [lot.expires_on for lot in lots if lot.on_hand_base > 0 and lot.expires_on]
    expires = min(held, default=None)
    return Shelf(
        product=product,
        on_hand=_sum(product, (lot.on_hand_base for lot in lots)),
        reserved=_sum(product, (lot.reserved_base for lot in lots)),
        available=_sum(product, (queries.available(lot, on=today) for lot in lots)),
        expires=expires,
        soon=expires is not None and expires <= today + SOON,
        over=expires is not None and expires < today,
        lots=[_lot(product, lot, today) for lot in lots],
        need=_need(product, need),
    )


def _lot(product: Product, lot: Lot, today: dt.date) -> dict[str, Any]:
    return {
        "lot": lot,
        "on_hand": _shown(product, lot.on_hand_base),
        "usable": queries.may_be_used(lot, on=today),
    }


def _need(product: Product, need: PurchaseNeed | None) -> dict[str, Any] | None:
    if need is None or not (need.short > 0 or need.to_order > 0 or need.not_counted):
        return None
    return {
        "short": _shown(product, need.short) if need.short > 0 else "",
        "to_order": _shown(product, need.to_order) if need.to_order > 0 else "",
        "containers": need.containers,
        "needed_by": need.needed_by,
        "order_by": need.order_by,
        "not_counted": len(need.not_counted),
    }


def _sum(product: Product, parts: Iterable[Decimal]) -> str:
    total = Decimal(0)
    for part in parts:
        total = EXACT.add(total, part)
    return _shown(product, total)


def _shown(product: Product, base: Decimal) -> str:
    found = amounts.in_stock_unit(base, product)
    return f"{plain(found.value, 3)} {wording.unit(found.unit)}"
