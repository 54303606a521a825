"""Leaf curl and cover of one block, from plain values: what `orchard` asks for by its settings."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from decimal import Decimal
from math import ceil
from typing import Any

import numpy as np
from django.utils.translation import gettext as _

from mixing.quantities import Quantity
from orchard.api.spoken import named
from scheduling.disease import cover as covers
from scheduling.disease import leaf_curl
from scheduling.disease.cover import Cover, Rain
from scheduling.disease.leaf_curl import Infection
from scheduling.disease.wet_spells import wet_spells
from scheduling.order_windows import hours_of
from scheduling.sky import HOUR, Numbers, Sky, sky_of
from scheduling.weather import MEASURABLE_RAIN

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
    dry_time: dt.timedelta | None = None,
    now: dt.datetime,
) -> dict[str, Any]:
    """Return `spells`, `cover`, `spray_again` and `limits`, as the API shows them.

    :param hours: rows with `at`, `kind`, `station` and what was measured, in order
    :param susceptible_from: bud swell as it was seen; None where nobody saw it: all hours are looked at
    :param sprayed_at: the end of the last spray; None where there is none
    :param interval: the label's shortest time between two sprays of it
    :param dry_time: how long the label wants it to stay dry after it
    """
    sky = sky_of(hours_of(hours, zone))
    found = [] if sky is None or crop not in HOSTS else leaf_curl.infections(wet_spells(sky))
    looked_at = [
        one
        for one in found
        if (susceptible_from is None or one.spell.ends_at > susceptible_from)
        and (susceptible_until is None or one.spell.starts_at < susceptible_until)
    ]
    left = None
    if sprayed_at is not None:
        sprayed_at = sprayed_at.astimezone(zone)
        rain = _rain_since(sky, sprayed_at, dry_time or dt.timedelta(0), now)
        left = covers.cover(sprayed_at=sprayed_at, at=now, rain=rain, interval=interval)
    ahead = [one for one in looked_at if one.spell.ends_at > now and one.risk != "unlikely"]
    known_until = _known_until(sky, now)
    again = _no_rule(left) if crop not in HOSTS else _again(left, ahead, known_until, zone=zone, now=now)
    return {
        "spells": [_spell(one) for one in looked_at],
        "cover": None if left is None else _cover(left),
        "spray_again": again,
        "limits": _limits(crop, susceptible_from),
    }


def _limits(crop: str, susceptible_from: dt.datetime | None) -> list[str]:
    if crop not in HOSTS:
        says = _("there is no rule here for %(crop)s: leaf curl is told of peach and nectarine")
        return [says % {"crop": named(crop)}, str(covers.LIMITS)]
    unseen = [] if susceptible_from else [_("nobody has seen bud swell: every wet spell known is looked at")]
    return [*unseen, str(leaf_curl.LIMITS), str(covers.LIMITS)]


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


def _rain_since(sky: Sky | None, sprayed_at: dt.datetime, dry_time: dt.timedelta, now: dt.datetime) -> Rain:
    """Return the rain from the hour on in which a spray ended; all of that hour counts."""
    first = sprayed_at.astimezone(dt.UTC).replace(minute=0, second=0, microsecond=0)
    fell = _measured(sky, first, max(0, int((now - first) / HOUR)))
    gauged = _gauged(sky, first, fell)
    return Rain(
        fell=float(np.nansum(fell)),
        unknown_hours=int(np.isnan(gauged).sum()),
        undried=_rained(gauged[: _whole(covers.drying())]),
        too_soon=_rained(gauged[: _whole(dry_time)]),
    )


def _whole(span: dt.timedelta) -> int:
    """Return how many hours a span from within an hour touches."""
    return ceil(span / HOUR) + 1 if span else 0


def _rained(fell: Numbers) -> bool | None:
    if np.any(fell >= float(MEASURABLE_RAIN)):
        return True
    return None if np.isnan(fell).any() else False


def _measured(sky: Sky | None, first: dt.datetime, count: int) -> Numbers:
    """Return the rain of so many hours, nan where nothing is known of it."""
    fell = np.full(count, np.nan)
    if sky is not None:
        start = round((first - sky.first) / HOUR)
        begins, ends = max(0, -start), max(0, min(count, len(sky) - start))
        if begins < ends:
            fell[begins:ends] = sky.rain[start + begins : start + ends]
    return fell


def _gauged(sky: Sky | None, first: dt.datetime, fell: Numbers) -> Numbers:
    """Return rain without that of a forecast: nobody measured it."""
    if sky is None:
        return fell
    start = round((first - sky.first) / HOUR)
    rows = (sky.rows[start + step] if 0 <= start + step < len(sky) else None for step in range(len(fell)))
    seen = np.array([row is not None and row.kind == "observed" for row in rows], dtype=bool)
    return np.where(seen, fell, np.nan)


def _cover(found: Cover) -> dict[str, Any]:
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


def _known_until(sky: Sky | None, now: dt.datetime) -> dt.datetime | None:
    """Return up to when weather ahead is stored, None where none is."""
    until = None if sky is None else sky.at(len(sky))
    return until if until is not None and until > now + HOUR else None


def _no_rule(left: Cover | None) -> dict[str, Any]:
    says = _("there is no rule here for this crop: whether to spray again is not known")
    not_before = None if left is None else left.not_before
    return {"wanted": None, "by": None, "not_before": not_before, "says": says}


def _again(
    left: Cover | None,
    ahead: list[Infection],
    known_until: dt.datetime | None,
    *,
    zone: dt.tzinfo,
    now: dt.datetime,
) -> dict[str, Any]:
    """Return whether to spray again, by when, and why; a label's interval is never overruled.

    `wanted` is None where the weather ahead is not known: that is no reason to do without.
    """
    soon = min((one.spell.starts_at for one in ahead), default=None)
    by = soon if soon is not None and soon > now else None
    bare = left is None or left.spray_again or left.likely is None or left.likely < HALF
    not_before = None if left is None else left.not_before
    wanted: bool | None = bool(ahead) and bare
    if known_until is None and not ahead:
        wanted = None
        says = _("no weather ahead is stored: whether a wet spell comes is not known")
    elif not ahead:
        says = _("no wet spell that could infect is known ahead; the weather is known until %(day)s")
        says %= {"day": _moment(known_until, zone)}
    elif not bare:
        says = _("more than half of the cover is likely left")
    elif not_before is not None and not_before > (by or now):
        wanted = False
        says = _("a wet spell could infect, but the label's interval holds until %(day)s")
        says %= {"day": _moment(not_before, zone)}
    else:
        says = _(
            "a wet spell could infect and little cover is likely left: spray %(when)s, as the label allows"
        )
        if left is not None and left.likely is None:
            says = _(
                "a wet spell could infect and what cover is left is not known: spray %(when)s, as the label"
                " allows"
            )
        before = _("before %(day)s") % {"day": _moment(by, zone)} if by else _("as soon as an hour is open")
        says %= {"when": before}
    return {"wanted": wanted, "by": by, "not_before": not_before, "says": says}


def _moment(at: dt.datetime | None, zone: dt.tzinfo) -> str:
    return "" if at is None else f"{at.astimezone(zone):%Y-%m-%d %H:%M}"


HALF = 50
"""Per cent of the cover below which a wet spell is taken for a danger (our estimate, no source)."""
