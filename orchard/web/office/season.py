"""The season at a glance: blocks against weeks, and what should be seen to."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from collections import defaultdict
from collections.abc import Iterable, Sequence

from django.http import HttpResponse
from django.utils.translation import gettext as _

from orchard.blocks import outlook_words
from orchard.blocks import queries as blocks
from orchard.blocks.models import Block, StageForecast
from orchard.farms.models import Farm
from orchard.tasks import attention, queries, told
from orchard.tasks.models import WorkOrder
from orchard.tasks.papers import wording
from orchard.web.crew.today import state
from orchard.web.doors import Visit, farm_page
from orchard.web.office.chart import AFTER, BEFORE, Line, Mark, Span, chart

LETTERS = {
    "spray": "S",
    "leaf_removal": "L",
    "scouting": "C",
    "calibration": "K",
    "equipment_wash": "W",
    "stocktake": "T",
}
DAYS_AHEAD = 14


@farm_page("season_review")
def season(visit: Visit) -> HttpResponse:
    """Show the season of every block, and what is late or runs out."""
    today = visit.now.astimezone(zoneinfo.ZoneInfo(visit.farm.zone)).date()
    rows = list(blocks.with_stage(blocks.blocks(farm=visit.farm).filter(archived=False), on=today))
    rows.sort(key=lambda row: (row.name, row.id))
    orders = _orders(visit, today)
    expected = _expected(visit.farm)
    lines = [_line(row, orders[row.pk], expected[row.pk], farm=visit.farm, today=today) for row in rows]
    due = attention.attention(
        farm=visit.farm, days=DAYS_AHEAD, with_people=visit.may("qualification", "create"), now=visit.now
    )
    return visit.show(
        "web/office/season.html",
        chart=chart(lines, today=today),
        lines=[_told(row, line, now=visit.now) for row, line in zip(rows, lines, strict=True)],
        due=due,
        days=DAYS_AHEAD,
        models=sorted({outlook_words.by_model(one.model) for found in expected.values() for one in found}),
        letters=[(letter, wording.kind(kind)) for kind, letter in LETTERS.items()],
    )


def _orders(visit: Visit, today: dt.date) -> dict[object, list[WorkOrder]]:
    since = visit.now - dt.timedelta(weeks=BEFORE + 1)
    until = visit.now + dt.timedelta(weeks=AFTER + 1)
    found: dict[object, list[WorkOrder]] = defaultdict(list)
    rows = queries.work_orders(farm=visit.farm).exclude(status="cancelled")
    for order in rows.filter(starts_at__gte=since, starts_at__lt=until, block__isnull=False):
        found[order.block.pk if order.block else None].append(order)
    return found


def _expected(farm: Farm) -> dict[object, list[StageForecast]]:
    rows = StageForecast.objects.for_farm(farm).select_related("block")
    found: dict[object, list[StageForecast]] = defaultdict(list)
    for one in rows.order_by("block_id", "bbch", "-issued_on", "-id").distinct("block", "bbch"):
        found[one.block.pk].append(one)
    return found


def _line(
    block: Block,
    orders: Sequence[WorkOrder],
    expected: Sequence[StageForecast],
    *,
    farm: Farm,
    today: dt.date,
) -> Line:
    zone = zoneinfo.ZoneInfo(farm.zone)
    marks = [
        Mark(one.observed_on, "seen", str(one.bbch), _("BBCH {code} seen").format(code=one.bbch))
        for one in getattr(block, "seen", [])
    ]
    marks += _jobs(orders, zone)
    spans = [
        Span(one.low80, one.high80, "expected", str(one.bbch), _expectation(one, today)) for one in expected
    ]
    spans += _closed(block, orders, zone)
    return Line(block.name, wording.crop(block.crop), tuple(marks), tuple(spans))


def _jobs(orders: Iterable[WorkOrder], zone: zoneinfo.ZoneInfo) -> list[Mark]:
    found = []
    for order in orders:
        look = "done" if order.status == "done" else "draft" if order.status == "draft" else "job"
        on = order.starts_at.astimezone(zone).date()
        called = f"{order.called} ({state(order.status)})"
        found.append(Mark(on, look, LETTERS[order.kind], called))
        latest = (order.window or {}).get("latest")
        if latest and order.status != "done":
            on = dt.date.fromisoformat(str(latest)[:10])
            found.append(Mark(on, "limit", "!", told.why(order.window)))
    return found


def _closed(block: Block, orders: Iterable[WorkOrder], zone: zoneinfo.ZoneInfo) -> list[Span]:
    ends = block.re_entry_until
    begun = max((one.started_at for one in orders if one.started_at and one.kind == "spray"), default=None)
    if ends is None or begun is None or begun > ends:
        return []
    told = _("no entry until {moment}").format(moment=wording.moment(ends, farm=block.farm))
    return [Span(begun.astimezone(zone).date(), ends.astimezone(zone).date(), "closed", "", told)]


def _expectation(one: StageForecast, today: dt.date) -> str:
    says = _("BBCH {code} expected {low} to {high}, 8 in 10").format(
        code=one.bbch, low=one.low80.isoformat(), high=one.high80.isoformat()
    )
    old = outlook_words.of_old([one], today=today)
    return f"{says} ({old})" if old else says


def _told(block: Block, line: Line, *, now: dt.datetime) -> dict[str, object]:
    """Return a block's line in words: what is closed, or expected, no more is left out."""
    today = now.astimezone(zoneinfo.ZoneInfo(block.farm.zone)).date()
    shown_since = today - dt.timedelta(weeks=BEFORE)
    ends, harvest = block.re_entry_until, block.harvest_not_before
    seen = [one.title for one in line.marks if one.look == "seen"]
    jobs = [
        f"{one.on.isoformat()}: {one.title}" for one in line.marks if one.look in ("job", "draft", "done")
    ]
    limits = [f"{one.on.isoformat()}: {one.title}" for one in line.marks if one.look == "limit"]
    return {
        "block": block,
        "crop": line.crop,
        "seen": seen,
        "jobs": jobs,
        "limits": limits,
        "expected": [one.title for one in line.spans if one.look == "expected" and one.until >= shown_since],
        "closed": wording.moment(ends, farm=block.farm) if ends and ends > now else None,
        "harvest": harvest if harvest and harvest >= today else None,
    }
