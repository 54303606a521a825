"""What is taken already: open orders that stay, sprayers, and stock."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from orchard.crews import queries as crew_queries
from orchard.crews.models import Calibration, Sprayer
from orchard.farms.models import Farm
from orchard.inventory import allocation
from orchard.inventory import queries as store
from orchard.inventory.models import Lot, Product
from orchard.tasks import queries as tasks
from orchard.tasks.models import PlanningRun, WorkOrder
from orchard.tasks.states import OPEN
from scheduling.assignment import Stock, Tool
from scheduling.assignment.problem import DAY
from scheduling.gather.mixes import UNITS, needs_of
from scheduling.practice import practice

USUAL = dt.timedelta(minutes=60)
LONG_AGO = 400 * DAY
KEPT = dt.timedelta(days=30)
"""How long before a plan an order may have begun that still counts, and how long after it."""


@dataclass(frozen=True, slots=True)
class Frame:
    """From moments to minutes of the plan, from its first midnight on; hours that pass, not the clock's."""

    zone: zoneinfo.ZoneInfo
    first: dt.date
    last: dt.date

    @property
    def origin(self) -> dt.datetime:
        """The first midnight of the plan, in UTC."""
        return dt.datetime.combine(self.first, dt.time(), tzinfo=self.zone).astimezone(dt.UTC)

    def minute(self, moment: dt.datetime) -> int:
        """Return the minute of a moment; below 0 before the plan."""
        return int((moment.astimezone(dt.UTC) - self.origin) / dt.timedelta(minutes=1))

    def moment(self, minute: int) -> dt.datetime:
        """Return the moment of a minute, in the farm's zone."""
        return (self.origin + dt.timedelta(minutes=minute)).astimezone(self.zone)

    def midnight(self, on: dt.date) -> int:
        """Return the minute in which a day begins."""
        return self.minute(dt.datetime.combine(on, dt.time(), tzinfo=self.zone))

    @property
    def days(self) -> list[dt.date]:
        """The days of the plan."""
        return [self.first + dt.timedelta(days=step) for step in range((self.last - self.first).days + 1)]


def open_orders(run: PlanningRun, *, until: dt.datetime) -> list[WorkOrder]:
    """Return the farm's open orders that might touch the plan, and all of its programme that are open."""
    rows = tasks.work_orders(farm=run.farm).filter(status__in=OPEN)
    near = rows.filter(starts_at__gte=run.starts_at - KEPT, starts_at__lte=until + KEPT)
    return list((near | rows.filter(programme=run.programme)).order_by("id"))


def span_of(order: WorkOrder, frame: Frame) -> tuple[int, int]:
    """Return the minutes that an order takes; an hour where nobody planned its end."""
    start = frame.minute(order.starts_at)
    end = frame.minute(order.ends_at or order.starts_at + USUAL)
    return start, max(end, start + int(practice()["day"]["step_minutes"]))


def sprayers_of(run: PlanningRun) -> list[Sprayer]:
    """Return the sprayers that may be taken: of the run, with a tank or on a hose, kept for nothing else."""
    rows = crew_queries.plain_sprayers(farm=run.farm).filter(archived=False, dedicated_to=None)
    if run.sprayers is not None:
        rows = rows.filter(id__in=run.sprayers)
    return [row for row in rows.order_by("id") if row.tank is not None or row.kind.startswith("hose_end")]


def flows_of(farm: Farm, *, on: dt.date) -> dict[object, object]:
    """Return the flow of each sprayer by the calibration that holds on a day, by its key."""
    rows = Calibration.objects.for_farm(farm).filter(on__lte=on, due_on__gte=on, flow__isnull=False)
    return dict(rows.order_by("on", "created_at", "id").values_list("sprayer", "flow"))


def tools_of(sprayers: Iterable[Sprayer], fixed: Iterable[WorkOrder], frame: Frame) -> list[Tool]:
    """Return the sprayers with when they are in use."""
    busy = defaultdict(list)
    for order in fixed:
        if order.sprayer is not None:
            busy[order.sprayer.id].append(span_of(order, frame))
    return [Tool(str(one.id), tuple(sorted(busy[one.id]))) for one in sprayers]


def stocks_of(
    products: Mapping[str, Product],
    wanted: Iterable[str],
    drafts: Sequence[WorkOrder],
    frame: Frame,
    now: dt.datetime,
) -> list[Stock]:
    """Return what may be taken of each product, of lots that are good on the day: first all, then what lasts.

    From a product's lead time on more of it can be bought; where none is known nobody can count on that.

    :param drafts: drafts that stay: they have nothing reserved yet, and take theirs before this plan does
    """
    jobs = Counter(wanted)
    ids = sorted(jobs)
    lots = defaultdict(list)
    rows = Lot.objects.filter(product__in=[products[id].key for id in ids]).select_related("product")
    for lot in rows.order_by("id"):
        lots[str(lot.product.id)].append(lot)
    return [
        stock
        for id in ids
        for stock in _of_product(id, lots[id], products, drafts, frame, now, slack=jobs[id])
    ]


def _of_product(
    id: str,
    lots: Sequence[Lot],
    products: Mapping[str, Product],
    drafts: Sequence[WorkOrder],
    frame: Frame,
    now: dt.datetime,
    *,
    slack: int,
) -> Iterable[Stock]:
    """Yield what may be taken of one product.

    :param slack: units for what each job was rounded up by: what fits to the last drop is taken to fit
    """
    ends = {
        lot.expires_on + dt.timedelta(days=1)
        for lot in lots
        if lot.expires_on is not None and frame.first <= lot.expires_on < frame.last
    }
    for on in sorted({frame.first, *ends}):
        free = sum((allocation.free(lot) for lot in lots if store.may_be_used(lot, on=on)), Decimal(0))
        taken = sum(
            needs_of(order.totals, products, on=on).get(id, 0)
            for order in drafts
            if order.starts_at.astimezone(frame.zone).date() >= on
        )
        lead = products[id].lead_time
        amount = int((free * UNITS).to_integral_value(rounding=ROUND_CEILING)) - taken + slack
        bought = (
            None
            if lead is None
            else _next_midnight(now + dt.timedelta(minutes=int(lead.in_base() / 60)), frame)
        )
        if bought is None or bought > frame.midnight(on):
            yield Stock(id, frame.midnight(on), max(0, amount), bought)


def _next_midnight(moment: dt.datetime, frame: Frame) -> int:
    """Return the minute from which on what comes in the course of a day is counted upon."""
    on = moment.astimezone(frame.zone).date()
    return frame.midnight(on + dt.timedelta(days=1))
