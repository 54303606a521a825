"""How amounts, moments and names stand on paper, in the reader's language and the farm's time."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from collections.abc import Mapping, Sequence

from django.utils import dateformat, timezone
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from mixing.quantities import plain
from orchard.api.spoken import named
from orchard.farms.models import Farm
from orchard.tasks import amounts

MOMENTS = {"en": "D j M Y, H:i", "es": r"D j \d\e F \d\e Y, H:i"}
DAYS = {"en": "l j F Y", "es": r"l j \d\e F \d\e Y"}
UNITS = {"percent_vv": "% v/v", "percent_ww": "% w/w", "degF": "°F", "degC": "°C"}


def language() -> str:
    """Return the language that is spoken here, `en` or `es`."""
    asked = (get_language() or "en")[:2]
    return asked if asked in MOMENTS else "en"


def quantity(raw: Mapping[str, str] | None, places: int = 4) -> str:
    """Return a stored quantity as people read it; the decimal point stays in every language.

    A comma read as a point is ten times the dose; measuring cups and scales here show points.
    """
    if not raw:
        return ""
    return f"{plain(amounts.read(raw).value, places)} {unit(raw['unit'])}"


def unit(name: str) -> str:
    """Return a unit as it stands on a cup or a scale."""
    return "/".join(UNITS.get(part, part.replace("_", " ")) for part in name.split("/"))


def measured(parts: Sequence[Mapping[str, str]]) -> str:
    """Return what to measure, the largest tool first: `3 lb + 2 oz wt`."""
    return " + ".join(quantity(one) for one in parts)


def moment(at: dt.datetime | str | None, *, farm: Farm) -> str:
    """Return a moment in the farm's time; empty for none."""
    if at is None:
        return ""
    found = dt.datetime.fromisoformat(at) if isinstance(at, str) else at
    return dateformat.format(found.astimezone(zoneinfo.ZoneInfo(farm.zone)), MOMENTS[language()])


def day(on: dt.date | None) -> str:
    """Return a day with its weekday; empty for none."""
    if on is None:
        return ""
    midnight = timezone.make_aware(dt.datetime.combine(on, dt.time()), dt.UTC)
    return dateformat.format(midnight, DAYS[language()])


def crop(name: str) -> str:
    """Return the crop's name in the reader's language, where there is one."""
    return named(name)


def kind(name: str) -> str:
    """Return the kind of an order in words."""
    return {
        "spray": _("Spraying"),
        "leaf_removal": _("Leaf removal"),
        "scouting": _("Scouting"),
        "calibration": _("Calibration"),
        "equipment_wash": _("Washing the sprayer"),
        "stocktake": _("Stocktake"),
    }.get(name, name)
