"""A day asked for: the order is given out, what is short is bought, and a closed day is refused and held."""

from __future__ import annotations

import datetime as dt
import itertools
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

from mixing.quantities import Quantity
from orchard.api.refusals import Conflict, Refusal
from orchard.tasks.models import WorkOrder
from scheduling.bounds import Limit
from scheduling.reasons import rains
from scheduling.season import deeds, story, telling
from scheduling.season.farm import quantity, receive, written
from scheduling.season.setting import STARTS, Season
from scheduling.weather import WeatherDay

HOURS_TO_MIDNIGHT = 24 - STARTS.hour
"""From the start of work on: the soonest that rain of the next day can come."""
LOOK_AHEAD = dt.timedelta(days=7)
HELD_FOR = {Limit.WIND: "wind", Limit.RAIN: "rain", Limit.FROST: "frost", Limit.HEAT: "heat"}


def order_for(season: Season, line: str, block: str, on: dt.date) -> WorkOrder:
    """Return the order of a line and block, drafted where there is none yet."""
    if (line, block) not in season.orders:
        place = [one.id for one in story.script().lines].index(line)
        season.orders[line, block] = deeds.draft(
            season.made,
            line=season.programme.lines[place],
            block=block,
            starts_at=season.clock(on),
            programme=season.programme,
            now=season.clock(on, dt.time(7)),
        )
    return season.orders[line, block]


def given_out(season: Season, asked: story.Try) -> WorkOrder:
    """Return the order, issued and accepted for the day; where something is short it is bought first."""
    made, key = season.made, (asked.line, asked.block)
    order, now = order_for(season, asked.line, asked.block, asked.on), season.clock(asked.on, dt.time(8))
    if order.status == "held" and (asked.verdict.open or _is_new(season, asked)):
        order = deeds.take_up(made, order, starts_at=season.clock(asked.on), now=now)
    elif order.status == "draft":
        if order.starts_at != season.clock(asked.on):
            order = deeds.move(made, order, starts_at=season.clock(asked.on), now=now)
        try:
            order = deeds.give_out(made, order, now=now)
        except Conflict as refused:
            season.tell(telling.refusal(refused, what=f"issue order {order.number}, {order.title}"))
            _buy(season, refused, now=now)
            order = deeds.give_out(made, order, now=now)
        season.say(telling.paragraph(f"Order {order.number} issued to {order.crew}: {order.title}."))
    season.orders[key] = order
    return order


def _is_new(season: Season, asked: story.Try) -> bool:
    """Say whether a limit closes the day that has not been told of yet."""
    return not telling.limits(asked.verdict.closed_by) <= season.told


def _buy(season: Season, refused: Refusal, *, now: dt.datetime) -> None:
    """Buy a pack of whatever is short.

    :raises Refusal: the same again, where anything else stands against the order
    """
    for fault in refused.faults:
        if fault.code != "stock_short" or fault.refers_to is None:
            raise refused
        key, product = next(
            (key, one) for key, one in season.made.products.items() if str(one.id) == fault.refers_to[1]
        )
        row = next(row for row in written()["product"] if row["key"] == key)
        line = receive(
            season.made,
            product=product,
            number=f"{key[0].upper()}-{now:%y%m}",
            amount=quantity(row["pack"]),
            expires_on=written()["buying"]["expires_on"],
            supplier=written()["buying"]["supplier"],
            reason=f"bought: {fault.detail}",
            now=now,
        )
        season.say(f"  {season.made.storekeeper.name} buys a pack.")
        season.say(telling.movement(line))


def refused_start(season: Season, order: WorkOrder, asked: story.Try) -> None:
    now = season.clock(asked.on)
    season.told |= telling.limits(asked.verdict.closed_by)
    season.say(telling.paragraph(f"The day says: {telling.reasons(asked.verdict.closed_by)}", hang=2))
    try:
        season.orders[asked.line, asked.block] = deeds.begin(
            season.made, order, observed=observed(season, asked.on), now=now
        )
    except Refusal as refused:
        season.tell(telling.refusal(refused, what=f"start order {order.number}, {order.title}"))
    reason = HELD_FOR.get(asked.verdict.closed_by[0].limit, "other")
    note = telling.reasons(asked.verdict.closed_by)
    season.orders[asked.line, asked.block] = deeds.put_off(
        season.made, season.orders[asked.line, asked.block], reason=reason, note=note, now=now
    )
    season.say(f"  Order {order.number} is held: {reason}.")


def observed(season: Season, on: dt.date) -> dict[str, Any]:
    """Return what stands in the day's row, as somebody with a meter would tell it."""
    ahead = [day for day in season.cut.weather if on <= day.on <= on + LOOK_AHEAD]
    today, tomorrow = ahead[0], ahead[1]
    assert today.wind is not None and today.mean is not None and tomorrow.minimum is not None
    return {
        "wind": _read_off(today.wind, "mph"),
        "temperature": _read_off(today.mean, "degF"),
        "humidity_percent": str(today.humidity_percent),
        "minimum_next_24h": _read_off(tomorrow.minimum, "degF"),
        "rain_within_h": str(_hours_until_rain(ahead)),
        "people_out": True,
        "source": "daily values of Yeosu (KMA)",
    }


def _read_off(amount: Quantity, unit: str) -> dict[str, str]:
    value = amount.to(unit).value.quantize(Decimal("0.01"), rounding=ROUND_HALF_EVEN)
    return Quantity(value, unit).as_json()


def _hours_until_rain(ahead: list[WeatherDay]) -> int:
    """Return the soonest that rain can come; days that stay dry count whole."""
    dry = list(itertools.takewhile(lambda day: day.rain is not None and not rains(day.rain), ahead))
    return 0 if not dry else HOURS_TO_MIDNIGHT + 24 * (len(dry) - 1)
