"""What a person is told of a block's bud forecast, in the language in use: one sentence a remark."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from orchard.api.spoken import named, short_day
from orchard.blocks.models import BlockOutlook, StageForecast

EVENTS: Mapping[str, Promise] = {
    "budburst": gettext_lazy("budburst"),
    "first_bloom": gettext_lazy("first bloom"),
    "full_bloom": gettext_lazy("full bloom"),
}
MODELS: Mapping[str, Promise] = {
    "observed": gettext_lazy("seen"),
    "running_mean": gettext_lazy("the mean of the springs before"),
    "by hand": gettext_lazy("by hand"),
}
COUNTRIES: Mapping[str, Promise] = {"Korea": gettext_lazy("Korea")}
REMARKS: Mapping[str, Promise] = {
    "impossible_days": gettext_lazy("%(days)s days left out: no temperatures that a day on Earth can have"),
    "weather_ends": gettext_lazy(
        "no day of weather since %(day)s: what is usual here stands in for it. Look at the buds"
    ),
    "old_weather_forecast": gettext_lazy("the weather forecast that it rests on is more than a day old"),
    "spikes": gettext_lazy("%(days)s days left out: %(degrees)s °C or more off the days about them"),
    "winter_left_out": gettext_lazy(
        "the winter before spring %(spring)s has a middle of %(middle)s °C: degF taken as degC? It is left"
        " out"
    ),
    "fitted_on_pears": gettext_lazy("fitted on pears as the stations keep them"),
    "fitted_on_flowering_cherries": gettext_lazy("fitted on flowering cherries, not fruit cherries"),
    "no_past_weather": gettext_lazy(
        "no earlier season of weather here: what comes is taken from the fitted places; odds widened"
    ),
    "few_past_winters": gettext_lazy(
        "fewer than %(wanted)s earlier winters of weather here: what comes is taken from the fitted places;"
        " odds widened"
    ),
    "little_chill": gettext_lazy(
        "%(hours)s chill hours to the end of January; the fitted places have had %(least)s or more in 99"
        " winters of 100: odds widened"
    ),
    "unlike_winter": gettext_lazy(
        "January and February here: %(mean)s °C on average, at the fitted places %(low)s to %(high)s °C:"
        " odds widened"
    ),
    "unlike_spring": gettext_lazy(
        "March and April here: %(mean)s °C on average, at the fitted places %(low)s to %(high)s °C:"
        " odds widened"
    ),
}
REFUSALS: Mapping[str, Promise] = {
    "no_model": gettext_lazy("there is no model for %(crop)s, only for %(species)s: go by the buds"),
    "other_hemisphere": gettext_lazy(
        "the place has its winter in July: the model counts a season from October to June, and was fitted"
        " to places north of the equator only"
    ),
    "out_of_season": gettext_lazy("buds are forecast from October to June"),
    "unit_unlikely": gettext_lazy(
        "the winter before spring %(spring)s has a middle of %(middle)s °C: degF taken as degC? Post its"
        " weather again"
    ),
    "no_chill": gettext_lazy(
        "%(hours)s chill hours to the end of January; the fitted places have had %(least)s or more in 99"
        " winters of 100: buds may open late, unevenly or not at all"
    ),
    "nothing_to_go_on": gettext_lazy(
        "too little weather of this winter, and %(own)s earlier dates of %(event)s: wanted are weather with"
        " %(holes)s days missing at most since 22 December, or %(dates)s dates"
    ),
}


def said(words: Mapping[str, Promise], remark: Mapping[str, Any]) -> str:
    """Return a remark as a sentence."""
    facts = {name: _fact(name, value) for name, value in remark["facts"].items()}
    return str(words[remark["code"]]) % facts


def _fact(name: str, value: Any) -> Any:
    if name == "event":
        return EVENTS[value]
    if name in ("crop", "species"):
        return ", ".join(named(one) for one in str(value).split(", "))
    return value


FITTED = re.compile(r"warmth and notes; fitted to (?P<places>\d+) stations in (?P<country>\w+) only")
"""How the forecasts name the fitted model."""
FRESH = dt.timedelta(days=1)
"""Forecasts are made anew each day; an older one tells of a day on which none was made."""


def by_model(code: str) -> str:
    """Return what a forecast goes by, in words."""
    if fitted := FITTED.fullmatch(code):
        country = COUNTRIES.get(fitted["country"], fitted["country"])
        facts = {"places": fitted["places"], "country": country}
        return _("warmth and notes; fitted to %(places)s stations in %(country)s only") % facts
    return str(MODELS.get(code, code))


def is_old(issued_on: dt.date, *, today: dt.date) -> bool:
    """Say whether a forecast is so old that there should be a newer one."""
    return issued_on < today - FRESH


def of_old(forecasts: Sequence[StageForecast], *, today: dt.date) -> str | None:
    """Return what is said of forecasts that are old, None where none is."""
    issued = min((one.issued_on for one in forecasts), default=today)
    if not is_old(issued, today=today):
        return None
    return _("this forecast is of %(day)s: what has come since is not in it. Look at the buds") % {
        "day": short_day(issued, more=" Y")
    }


def last_safe(on: dt.date, *, model: str) -> str:
    """Return what the last safe day is, and what it rests on.

    :param model: of the forecast of budburst; `observed` where the buds have burst
    """
    day = short_day(on, more=" Y")
    if model == "observed":
        return _("%(day)s was the last day before budburst") % {"day": day}
    return _(
        "%(day)s is the last day before bud colour in nine springs of ten (by budburst, to be safe;"
        " %(model)s). Look at the buds before the spray; the label and your adviser come first"
    ) % {"day": day, "model": by_model(model)}


def beside(
    seen: BlockOutlook | None, forecasts: Sequence[StageForecast], *, today: dt.date
) -> dict[str, Any]:
    """Return what the API shows beside a block's forecasts; `old` is said of dates that are."""
    old = of_old(forecasts, today=today)
    if seen is None:
        return {"issued_on": None, "last_safe_day": None, "remarks": [], "refused": None, "old": old}
    day, refused = seen.last_safe_day, seen.refused
    model = next((one.model for one in forecasts if one.event == "budburst"), "")
    return {
        "issued_on": seen.issued_on,
        "last_safe_day": day and {"on": day, "says": last_safe(day, model=model)},
        "remarks": [said(REMARKS, one) for one in seen.remarks],
        "refused": refused and {"code": refused["code"], "says": said(REFUSALS, refused)},
        "old": old,
    }
