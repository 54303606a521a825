"""Leaf curl and cover of one block, from plain values: what `orchard` asks for by its settings."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

import numpy as np

from mixing.quantities import Quantity
from scheduling.disease import cover as covers
from scheduling.disease import leaf_curl
from scheduling.disease.leaf_curl import Infection
from scheduling.disease.wet_spells import wet_spells
from scheduling.order_windows import hours_of
from scheduling.sky import HOUR, Sky, sky_of

HOSTS = ("peach", "nectarine")


def of_block(
    *,
    hours: Iterable[Any],
    zone: dt.tzinfo,
    crop: str,
    susceptible_from: dt.datetime | None,
    susceptible_until: dt.datetime | None,
    sprayed_at: dt.datetime | None,
    interval: dt.timedelta | None,
    now: dt.datetime,
) -> dict[str, Any]:
    """Return `spells`, `cover`, `spray_again` and `limits`, as the API shows them.

    :param hours: rows with `at`, `kind`, `station` and what was measured, in order
    :param susceptible_from: bud swell as it was seen; None where nobody saw it: all hours are looked at
    :param sprayed_at: the end of the last spray; None where there is none
    :param interval: the label's shortest time between two sprays of it
    """
    sky = sky_of(hours_of(hours, zone))
    found = [] if sky is None or crop not in HOSTS else leaf_curl.infections(wet_spells(sky))
    looked_at = [
        one
        for one in found
        if (susceptible_from is None or one.spell.ends_at > susceptible_from)
        and (susceptible_until is None or one.spell.starts_at < susceptible_until)
    ]
    left = None if sprayed_at is None else _cover(sky, sprayed_at.astimezone(zone), interval, now)
    ahead = [one for one in looked_at if one.spell.ends_at > now and one.risk != "unlikely"]
    return {
        "spells": [_spell(one) for one in looked_at],
        "cover": left,
        "spray_again": _again(left, ahead, zone=zone, now=now),
        "limits": _limits(crop, susceptible_from),
    }


def _limits(crop: str, susceptible_from: dt.datetime | None) -> list[str]:
    if crop not in HOSTS:
        return [
            f"there is no rule here for {crop}: leaf curl is told of {' and '.join(HOSTS)}",
            covers.LIMITS,
        ]
    unseen = [] if susceptible_from else ["nobody has seen bud swell: every wet spell known is looked at"]
    return [*unseen, leaf_curl.LIMITS, covers.LIMITS]


def _spell(one: Infection) -> dict[str, Any]:
    spell = one.spell
    return {
        "since": spell.starts_at,
        "until": spell.ends_at,
        "wet_hours": spell.wet_hours,
        "unknown_hours": spell.unknown_hours,
        "rain": _quantity(spell.rain, "mm"),
        "mean_temperature": None if spell.mean is None else _quantity(spell.mean, "degC"),
        "forecast": spell.forecast_hours > 0,
        "risk": one.risk,
        "share": None if one.share is None else f"{one.share:.2f}",
        "says": one.says,
    }


def _quantity(value: float, unit: str) -> Quantity:
    return Quantity(Decimal(f"{value:.1f}"), unit)


def _cover(
    sky: Sky | None, sprayed_at: dt.datetime, interval: dt.timedelta | None, now: dt.datetime
) -> dict[str, Any]:
    hours = max(0, int((now - sprayed_at) / HOUR))
    rain, known = 0.0, 0
    if sky is not None:
        first = max(0, int(np.ceil((sprayed_at.astimezone(dt.UTC) - sky.first) / HOUR)))
        last = max(0, int((now.astimezone(dt.UTC) - sky.first) // HOUR))
        part = sky.rain[first:last]
        rain, known = float(np.nansum(part)), int((~np.isnan(part)).sum())
    found = covers.cover(
        sprayed_at=sprayed_at, at=now, rain=rain, unknown_hours=max(0, hours - known), interval=interval
    )
    return {
        "sprayed_at": found.sprayed_at,
        "rain": _quantity(found.rain, "mm"),
        "unknown_hours": found.unknown_hours,
        "low_percent": found.low,
        "likely_percent": found.likely,
        "high_percent": found.high,
        "not_before": found.not_before,
        "by_the_rule": found.spray_again,
        "says": found.says,
    }


def _again(
    left: dict[str, Any] | None, ahead: list[Infection], *, zone: dt.tzinfo, now: dt.datetime
) -> dict[str, Any]:
    """Return whether to spray again, by when, and why; a label's interval is never overruled."""
    soon = min((one.spell.starts_at for one in ahead), default=None)
    by = soon if soon is not None and soon > now else None
    bare = left is None or left["by_the_rule"] or left["likely_percent"] < HALF
    wanted = bool(ahead) and bare
    not_before = None if left is None else left["not_before"]
    barred = wanted and not_before is not None and not_before > (by or now)
    if not ahead:
        says = "no wet spell that could infect is known ahead"
    elif not bare:
        says = "more than half of the cover is likely left"
    elif barred:
        says = f"a wet spell could infect, but the label's interval holds until {not_before:%Y-%m-%d %H:%M}"
    else:
        when = (
            f"before {by.astimezone(zone):%Y-%m-%d %H:%M}" if by is not None else "as soon as an hour is open"
        )
        says = f"a wet spell could infect and little cover is likely left: spray {when}, as the label allows"
    return {"wanted": wanted and not barred, "by": by, "not_before": not_before, "says": says}


HALF = 50
"""Per cent of the cover below which a wet spell is taken for a danger (our estimate, no source)."""
