"""What is late or runs out, in one list: each row names the thing that it is about.

A record has to be written within fourteen days of the application (Understanding the federal pesticide
recordkeeping regulations, USDA Agricultural Marketing Service, on 7 CFR 110.3).
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db.models import Max, Min
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from mixing.quantities import EXACT, plain
from orchard.crews import queries as crews
from orchard.crews.models import Calibration, Qualification
from orchard.farms import queries as farms
from orchard.farms.models import Farm
from orchard.farms.rows import FarmRow
from orchard.inventory import balance_queries, container_queries
from orchard.inventory import queries as store
from orchard.inventory.amounts import in_stock_unit
from orchard.tasks import amounts, need_queries, queries, titles
from orchard.tasks.models import ApplicationRecord, Load, WorkOrder
from orchard.tasks.review import season_review

RECORD_WITHIN = dt.timedelta(days=14)
REMINDED_AFTER = (dt.timedelta(days=7), dt.timedelta(days=12))
"""Days after the work on which its record is asked for (common practice, no source)."""
TOO_FAR_OFF = Decimal("0.1")
"""A tenth more or less than planned asks for a new calibration (common practice, no source)."""
CONTAINERS_BACK_WITHIN = dt.timedelta(days=1)
"""Common practice, no source."""
STATES = {
    "draft": gettext_lazy("a draft"),
    "issued": gettext_lazy("issued"),
    "accepted": gettext_lazy("accepted"),
    "under_way": gettext_lazy("under way"),
    "held": gettext_lazy("held"),
}
QUALIFICATIONS = {
    "handler_training": gettext_lazy("handler training"),
    "respirator_fit_test": gettext_lazy("respirator fit test"),
    "licence": gettext_lazy("licence"),
}
LOAD = "load.recorded"
"""The event of the outbox that takes a load out of the store."""
SEASON = dt.timedelta(days=300)
"""How far back the stages of a season are looked at."""


@dataclass(frozen=True, slots=True)
class Attention:
    """One thing that somebody should see to.

    :ivar code: one of those that `AttentionShown` names
    :ivar due_on: the day on which it is, or was, too late; None where no day is known
    """

    code: str
    says: str
    due_on: dt.date | None
    about: FarmRow | Farm
    also: FarmRow | None = None


def attention(*, farm: Farm, days: int, with_people: bool, now: dt.datetime) -> list[Attention]:
    """Return what is late, or will be within so many days: first what is due first.

    :param with_people: whether the one who asks may see other people's qualifications
    """
    today = store.day_on_farm(farm=farm, at=now)
    ends = today + dt.timedelta(days=days)
    found = [
        *_lines(farm, today),
        *_orders(farm, now),
        *_records(farm, today, now),
        *_lots(farm, today, ends),
        *_last_days(farm),
        *_promises(farm, today),
        *_short(farm, today, now),
        *_containers(farm, now),
        *_questions(farm),
        *_below_nothing(farm, now),
        *_set_aside(farm),
        *_calibrations(farm, today, ends),
        *_used_otherwise(farm),
        *(_qualifications(farm, today, ends) if with_people else ()),
    ]
    return sorted(found, key=lambda one: (one.due_on or today, one.code, str(one.about.id)))


def _lines(farm: Farm, today: dt.date) -> Iterator[Attention]:
    review = season_review(farm=farm, since=today - SEASON, until=today)
    for block in review.blocks:
        for line in block.lines:
            if line.programme.status == "active" and line.state in ("missed", "open"):
                says = f"{titles.said(line.line['title'])}, {block.block}: {line.says}"
                seen = line.seen
                yield Attention(f"line_{line.state}", says, None, line.programme, seen or block.block)


def _orders(farm: Farm, now: dt.datetime) -> Iterator[Attention]:
    for order in queries.work_orders(farm=farm, overdue_at=now).order_by("starts_at", "id"):
        on = store.day_on_farm(farm=farm, at=order.ends_at or order.starts_at)
        says = _("order %(number)s, %(title)s, is %(state)s and was planned for %(on)s") % {
            "number": order.number,
            "title": order.called,
            "state": STATES[order.status],
            "on": on,
        }
        yield Attention("order_overdue", says, on, order)


def _records(farm: Farm, today: dt.date, now: dt.datetime) -> Iterator[Attention]:
    """Yield sprays that were begun and have no record yet, from a week after the first load on."""
    open_ = WorkOrder.objects.for_farm(farm).filter(kind="spray", status__in=("under_way", "held"))
    rows = open_.select_related("farm").annotate(first=Min("loads__at")).filter(first__isnull=False)
    for order in rows.order_by("first", "id"):
        age = now - order.first
        if age < REMINDED_AFTER[0]:
            continue
        due = store.day_on_farm(farm=farm, at=order.first + RECORD_WITHIN)
        if due < today:
            says = _("the record of order %(number)s, %(title)s, was due on %(due)s: finish the order")
        elif age >= REMINDED_AFTER[1]:
            says = _(
                "the record of order %(number)s, %(title)s, is due on %(due)s, in two days or less: finish"
                " the order"
            )
        else:
            says = _("the record of order %(number)s, %(title)s, is due on %(due)s: finish the order")
        says %= {"number": order.number, "title": order.called, "due": due}
        yield Attention("record_due", says, due, order)


def _lots(farm: Farm, today: dt.date, ends: dt.date) -> Iterator[Attention]:
    rows = store.lots(farm=farm).filter(archived=False, on_hand_base__gt=0, expires_on__lte=ends)
    for lot in rows.order_by("expires_on", "id"):
        held = in_stock_unit(lot.on_hand_base, lot.product)
        if lot.expires_on and lot.expires_on < today:
            says = _(
                "lot %(number)s of %(product)s expired on %(on)s; it holds %(held)s: keep it apart and"
                " dispose of it as its label says"
            )
        else:
            says = _("lot %(number)s of %(product)s expires on %(on)s; it holds %(held)s")
        says %= {
            "number": lot.number,
            "product": lot.product.name,
            "on": lot.expires_on,
            "held": _words(held),
        }
        yield Attention("lot_expiring", says, lot.expires_on, lot)


def _last_days(farm: Farm) -> Iterator[Attention]:
    """Yield lots of which the book has one last day at one place and another at another."""
    for same in store.with_two_last_days(farm=farm):
        places = [
            f"{lot.expires_on or _('that it does not expire')} ({lot.location or _('no location')})"
            for lot in same
        ]
        says = _(
            "of lot %(number)s of %(product)s the book has more than one last day: %(places)s. Read the date "
            "on the packages, and correct the lots"
        ) % {"number": same[0].number, "product": same[0].product.name, "places": ", ".join(places)}
        days = [lot.expires_on for lot in same if lot.expires_on is not None]
        yield Attention("expiry_differs", says, min(days), same[0])


def _promises(farm: Farm, today: dt.date) -> Iterator[Attention]:
    """Yield the orders that will not get what was promised: the lot is out of use, or holds too little."""
    rows = list(store.reservations(farm=farm).filter(status="open", open_base__gt=0).order_by("id"))
    ids = {row.work_order for row in rows}
    orders = {one.id: one for one in queries.work_orders(farm=farm).filter(id__in=ids)}
    for row in rows:
        order, lot = orders.get(row.work_order), row.lot
        if order is None:
            continue
        on = max(today, store.day_on_farm(farm=farm, at=order.starts_at))
        facts = {"number": order.number, "lot": lot.number, "product": row.product.name, "on": on}
        if not store.may_be_used(lot, on=on):
            says = _(
                "order %(number)s has the promise of lot %(lot)s of %(product)s, which may not be used on"
                " %(on)s: call the order off and issue it anew from another lot"
            )
        elif lot.on_hand_base < lot.reserved_base:
            says = _(
                "order %(number)s has the promise of lot %(lot)s of %(product)s, which holds %(held)s, and"
                " %(promised)s are promised: count it, or call the order off and issue it anew"
            )
            facts["held"] = _words(in_stock_unit(lot.on_hand_base, row.product))
            facts["promised"] = _words(in_stock_unit(lot.reserved_base, row.product))
        else:
            continue
        yield Attention("promise_broken", says % facts, on, order, lot)


def _short(farm: Farm, today: dt.date, now: dt.datetime) -> Iterator[Attention]:
    for need in need_queries.purchase_needs(farm=farm, at=now).values():
        if need.short > 0:
            lacking = _words(in_stock_unit(need.short, need.product))
            if need.order_by is not None and need.order_by != need.needed_by:
                if need.order_by < today:
                    says = _(
                        "%(product)s is short by %(lacking)s for %(on)s: it was to be ordered by"
                        " %(order_by)s, order it now"
                    )
                else:
                    says = _("%(product)s is short by %(lacking)s for %(on)s: order it by %(order_by)s")
            else:
                says = _("%(product)s is short by %(lacking)s for %(on)s")
            says %= {
                "product": need.product.name,
                "lacking": lacking,
                "on": need.needed_by,
                "order_by": need.order_by,
            }
            yield Attention("product_short", says, need.needed_by, need.product)
        elif need.below_safety > 0:
            lacking = _words(in_stock_unit(need.below_safety, need.product))
            if need.containers is None:
                says = _("%(product)s goes below its safety stock by %(lacking)s: buy %(amount)s")
            else:
                says = _(
                    "%(product)s goes below its safety stock by %(lacking)s: buy %(amount)s (whole"
                    " containers: %(containers)s)"
                )
            says %= {
                "product": need.product.name,
                "lacking": lacking,
                "amount": _words(in_stock_unit(need.to_order, need.product)),
                "containers": need.containers,
            }
            yield Attention("stock_low", says, need.order_by, need.product)


def _containers(farm: Farm, now: dt.datetime) -> Iterator[Attention]:
    """Yield products of which containers were given out a day ago or more and are not accounted for."""
    tallies = container_queries.tallies(farm=farm)
    last = container_queries.last_issued(farm=farm)
    late = [key for key, one in tallies.items() if one.out > 0 and now - last[key] > CONTAINERS_BACK_WITHIN]
    for product in store.products(farm=farm).filter(key__in=late).order_by("id"):
        out = tallies[product.key].out
        on = store.day_on_farm(farm=farm, at=last[product.key])
        says = _("%(number)s containers of %(product)s, given out by %(on)s, are neither back nor rinsed") % {
            "number": out,
            "product": product.name,
            "on": on,
        }
        yield Attention("containers_out", says, on, product)


def _questions(farm: Farm) -> Iterator[Attention]:
    rows = list(store.shortages(farm=farm).filter(answered_at=None).order_by("id"))
    records = queries.records_that_took(farm=farm, shortages=rows)
    for row in rows:
        record = records.get(row.load)
        if record is None:
            says = _("a load used %(amount)s more of %(product)s than the book held: find out why")
        elif record.kind == "correction":
            says = _(
                "the correction of a record says that %(amount)s more of %(product)s was used than the book "
                "held: find out why"
            )
        else:
            says = _(
                "a record says that %(amount)s more of %(product)s was used than the book held: find out why"
            )
        says %= {"amount": _words(row.missing), "product": row.product.name}
        yield Attention("shortage_open", says, None, row, record)


def _below_nothing(farm: Farm, now: dt.datetime) -> Iterator[Attention]:
    """Yield lots that a load, told late, was taken from before the receipt that the book has of them."""
    for first in balance_queries.below_nothing(farm=farm, since=now - SEASON):
        lot = first.lot
        on = store.day_on_farm(farm=farm, at=first.at)
        says = _(
            "by the book lot %(lot)s of %(product)s held %(held)s on %(on)s: more was taken out than had come"
            " in by then. Find the receipt with the wrong day, or the one that is missing"
        ) % {
            "lot": lot.number,
            "product": lot.product.name,
            "held": _words(in_stock_unit(first.held, lot.product)),  # type: ignore[attr-defined]
            "on": on,
        }
        yield Attention("book_below_nothing", says, None, lot, first)


def _set_aside(farm: Farm) -> Iterator[Attention]:
    """Yield what the background work could not do and will not try again by itself.

    A load that is not taken out of the store is told by its order: until then the store shows too much.
    """
    waiting = farms.set_aside(farm=farm)
    ids = [event.subject for event in waiting if event.kind == LOAD]
    rows = Load.objects.for_farm(farm).filter(id__in=ids).select_related("work_order__farm")
    for load in rows.order_by("work_order__number", "number"):
        says = _(
            "load %(load)s of order %(number)s could not be taken out of the store, which shows more than is"
            " there: ask the one who runs the service to look why, and then to run"
            " 'manage.py replay_outbox'"
        ) % {"load": load.number, "number": load.work_order.number}
        yield Attention("work_set_aside", says, None, load.work_order)
    others = Counter(event.kind for event in waiting if event.kind != LOAD)
    for kind, times in sorted(others.items()):
        says = _(
            "background work failed too often and waits (%(kind)s, %(times)s times): ask the one who runs the"
            " service to look why, and then to run 'manage.py replay_outbox'"
        ) % {"kind": kind, "times": times}
        yield Attention("work_set_aside", says, None, farm)


def _words(amount: Any) -> str:
    return f"{plain(amount.value, 4)} {amount.unit}"


def _calibrations(farm: Farm, today: dt.date, ends: dt.date) -> Iterator[Attention]:
    for sprayer in crews.sprayers(farm=farm).filter(archived=False).order_by("id"):
        due_on: dt.date | None = sprayer.due_on  # type: ignore[attr-defined]
        if due_on is not None and due_on <= ends:
            if due_on < today:
                says = _("%(sprayer)s was to be calibrated by %(on)s")
            else:
                says = _("%(sprayer)s is to be calibrated by %(on)s")
            says %= {"sprayer": sprayer, "on": due_on}
            yield Attention("calibration_due", says, due_on, sprayer)


def _used_otherwise(farm: Farm) -> Iterator[Attention]:
    """Yield sprayers that gave much more or less than was planned since they were last calibrated."""
    measured = dict(
        Calibration.objects.for_farm(farm).values_list("sprayer").annotate(Max("on")).order_by("sprayer")
    )
    told = set()
    for record in queries.records(farm=farm, status="current").order_by("-finished_at", "id"):
        sprayer, order = record.sprayer, record.work_order
        if sprayer is None or order is None or sprayer.key in told or sprayer.archived:
            continue
        on = store.day_on_farm(farm=farm, at=record.finished_at)
        off = _off(record)
        if off is not None and (sprayer.key not in measured or on > measured[sprayer.key]):
            told.add(sprayer.key)
            says = _(
                "%(sprayer)s used %(percent)s %% of what was planned on %(on)s (order %(number)s): try it"
                " with water and calibrate it again"
            ) % {"sprayer": sprayer, "percent": off, "on": on, "number": order.number}
            yield Attention("recalibrate", says, None, sprayer, record)


def _off(record: ApplicationRecord) -> str | None:
    """Return what was used of what was planned [percent] where the two are more than a tenth apart."""
    assert record.work_order is not None
    used = {one["product"]: amounts.read(one["amount"]) for one in record.body["products"]}
    for total in record.work_order.totals:
        amount = used.get(total["id"])
        planned = amounts.read(total["exact"]) if total["exact"] else None
        if amount is None or planned is None or amount.dimension != planned.dimension:
            continue
        share = EXACT.divide(amount.in_base(), planned.in_base())
        if abs(share - 1) > TOO_FAR_OFF:
            return plain((share * 100).quantize(Decimal(1)))
    return None


def _qualifications(farm: Farm, today: dt.date, ends: dt.date) -> Iterator[Attention]:
    """Yield the latest of each kind of each worker, where it has ended or ends within the days."""
    rows = Qualification.objects.for_farm(farm).filter(worker__archived=False)
    latest: dict[tuple[Any, str], Qualification] = {}
    for row in rows.select_related("farm", "worker__farm").order_by("expires_on", "id"):
        latest[row.worker.key, row.kind] = row
    for row in latest.values():
        if row.expires_on <= ends:
            if row.expires_on < today:
                says = _("%(kind)s of %(worker)s ended on %(on)s")
            else:
                says = _("%(kind)s of %(worker)s ends on %(on)s")
            says %= {
                "kind": QUALIFICATIONS[row.kind],
                "worker": row.worker,
                "on": row.expires_on,
            }
            yield Attention("qualification_expiring", says, row.expires_on, row, row.worker)
