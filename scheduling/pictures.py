"""Pictures with their numbers: a block's latest forecast, its season, and the open hours of an order."""

from __future__ import annotations

import datetime as dt
import zoneinfo

from django.utils.translation import gettext as _

from orchard.blocks import queries
from orchard.blocks.models import Block
from orchard.blocks.outlook_words import REMARKS, said
from orchard.tasks import queries as records
from orchard.tasks import windows
from orchard.tasks.models import WorkOrder
from scheduling import buds
from scheduling.forecast import Event, Forecast, last_safe_day
from scheduling.order_windows import windows_for
from scheduling.plots import open_hours
from scheduling.plots.forecast import forecast_picture
from scheduling.plots.picture import Picture
from scheduling.plots.season import Mark, season_picture


def of_order(*, order: WorkOrder, now: dt.datetime) -> Picture:
    """Return the open and closed hours of a work order for a fortnight from now on."""
    found = windows_for(**windows.asked(order=order, now=now))
    stale_from = windows.forecast_seen(farm=order.farm, now=now).stale_from
    if stale_from is not None:
        stale_from = stale_from.astimezone(zoneinfo.ZoneInfo(order.farm.zone))
    return open_hours.picture(found, title=order.called, stale_from=stale_from)


def of_block(*, block: Block) -> dict[str, Picture]:
    """Return `forecast` and `season` of a block, each where there is something to draw."""
    forecasts = [
        Forecast(Event(row.event), row.predicted, row.low80, row.high80, row.issued_on, row.model, 0, "")
        for row in queries.forecasts(block=block)
    ]
    if not forecasts:
        return {}
    burst = [one for one in forecasts if one.event == Event.BUDBURST]
    safe = last_safe_day(burst).on if burst else None
    beside = queries.outlook(block=block)
    remarks = [said(REMARKS, one) for one in (beside.remarks if beside else ())]
    found = {"forecast": forecast_picture(forecasts, block=block.name, last_safe=safe, remarks=remarks)}
    season = _season(block, forecasts)
    return found | ({"season": season} if season else {})


def _season(block: Block, forecasts: list[Forecast]) -> Picture | None:
    issued = forecasts[0].issued_on
    first = dt.date(issued.year - (issued.month < 10), 10, 1)
    known = buds.weather_of(block.farm, issued_on=issued).observed
    days = [day for day in known if first <= day.on <= issued]
    if not days:
        return None
    rain = [
        (row.on, float(row.rain.to("mm").value))
        for row in queries.days(farm=block.farm, since=first, until=issued).filter(kind="observed")
        if row.rain is not None
    ]
    zone = zoneinfo.ZoneInfo(block.farm.zone)
    looks = queries.stages(block=block).filter(observed_on__range=(first, issued)).order_by("observed_on")
    seen = [Mark(look.observed_on, str(look.bbch)) for look in looks]
    return season_picture(
        block=block.name,
        days=sorted(days, key=lambda day: day.on),
        rain=rain,
        seen=seen,
        sprays=_sprays(block, first, issued, zone),
        forecasts=forecasts,
    )


def _sprays(block: Block, first: dt.date, last: dt.date, zone: zoneinfo.ZoneInfo) -> list[Mark]:
    days = [record.finished_at.astimezone(zone).date() for record in records.current_on(block=block)]
    return [Mark(on, _("spray")) for on in sorted(days) if first <= on <= last]
