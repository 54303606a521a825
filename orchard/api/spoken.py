"""Words that stand in sentences for people, in the language in use: states, kinds, roles and fields."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.translation import get_language, pgettext_lazy

from mixing import catalogue
from mixing.quantities import QuantityError

CODES: Mapping[str, Promise] = {
    # states
    "draft": pgettext_lazy("code", "draft"),
    "issued": pgettext_lazy("code", "issued"),
    "accepted": pgettext_lazy("code", "accepted"),
    "under_way": pgettext_lazy("code", "under way"),
    "held": pgettext_lazy("code", "held"),
    "done": pgettext_lazy("code", "done"),
    "cancelled": pgettext_lazy("code", "cancelled"),
    "advice": pgettext_lazy("code", "advice"),
    "active": pgettext_lazy("code", "active"),
    "closed": pgettext_lazy("code", "closed"),
    "open": pgettext_lazy("code", "open"),
    "posted": pgettext_lazy("code", "posted"),
    "proposed": pgettext_lazy("code", "proposed"),
    "approved": pgettext_lazy("code", "approved"),
    "withdrawn": pgettext_lazy("code", "withdrawn"),
    "queued": pgettext_lazy("code", "queued"),
    "running": pgettext_lazy("code", "running"),
    "failed": pgettext_lazy("code", "failed"),
    # work
    "spray": pgettext_lazy("code", "spray"),
    "leaf_removal": pgettext_lazy("code", "leaf removal"),
    "scouting": pgettext_lazy("code", "scouting"),
    "calibration": pgettext_lazy("code", "calibration"),
    "equipment_wash": pgettext_lazy("code", "equipment wash"),
    "stocktake": pgettext_lazy("code", "stocktake"),
    # actions
    "issue": pgettext_lazy("code", "issue"),
    "accept": pgettext_lazy("code", "accept"),
    "start": pgettext_lazy("code", "start"),
    "record_load": pgettext_lazy("code", "record load"),
    "finish": pgettext_lazy("code", "finish"),
    "hold": pgettext_lazy("code", "hold"),
    "resume": pgettext_lazy("code", "resume"),
    "cancel": pgettext_lazy("code", "cancel"),
    # roles
    "owner": pgettext_lazy("code", "owner"),
    "manager": pgettext_lazy("code", "manager"),
    "storekeeper": pgettext_lazy("code", "storekeeper"),
    "crew_lead": pgettext_lazy("code", "crew lead"),
    "crew_member": pgettext_lazy("code", "crew member"),
    "adviser": pgettext_lazy("code", "adviser"),
    "integration": pgettext_lazy("code", "integration"),
    # sprayers
    "hand_pump": pgettext_lazy("code", "hand pump"),
    "backpack": pgettext_lazy("code", "backpack"),
    "handgun": pgettext_lazy("code", "handgun"),
    "airblast": pgettext_lazy("code", "airblast"),
    "boom": pgettext_lazy("code", "boom"),
    "hose_end_dial": pgettext_lazy("code", "hose end dial"),
    "hose_end_ratio": pgettext_lazy("code", "hose end ratio"),
    # reasons to hold, and what becomes of a rest
    "wind": pgettext_lazy("code", "wind"),
    "rain": pgettext_lazy("code", "rain"),
    "frost": pgettext_lazy("code", "frost"),
    "heat": pgettext_lazy("code", "heat"),
    "people": pgettext_lazy("code", "people"),
    "fault": pgettext_lazy("code", "fault"),
    "stage": pgettext_lazy("code", "stage"),
    "other": pgettext_lazy("code", "other"),
    "sprayed_out": pgettext_lazy("code", "sprayed out"),
    "kept_labelled": pgettext_lazy("code", "kept labelled"),
    "disposed": pgettext_lazy("code", "disposed"),
    "rinsed": pgettext_lazy("code", "rinsed"),
    # movements of stock
    "receive": pgettext_lazy("code", "receive"),
    "return": pgettext_lazy("code", "return"),
    "transfer": pgettext_lazy("code", "transfer"),
    "adjust": pgettext_lazy("code", "adjust"),
    "dispose": pgettext_lazy("code", "dispose"),
    "reverse": pgettext_lazy("code", "reverse"),
    # fields
    "block": pgettext_lazy("code", "block"),
    "crew": pgettext_lazy("code", "crew"),
    "dial_max": pgettext_lazy("code", "dial max"),
    "dial_step": pgettext_lazy("code", "dial step"),
    "disposal": pgettext_lazy("code", "disposal"),
    "emptied_at": pgettext_lazy("code", "emptied at"),
    "ends_at": pgettext_lazy("code", "ends at"),
    "expires_on": pgettext_lazy("code", "expires on"),
    "handlers": pgettext_lazy("code", "handlers"),
    "instructions": pgettext_lazy("code", "instructions"),
    "jar": pgettext_lazy("code", "jar"),
    "location": pgettext_lazy("code", "location"),
    "lot": pgettext_lazy("code", "lot"),
    "measures": pgettext_lazy("code", "measures"),
    "number": pgettext_lazy("code", "number"),
    "people_out": pgettext_lazy("code", "people out"),
    "product": pgettext_lazy("code", "product"),
    "products": pgettext_lazy("code", "products"),
    "quantity": pgettext_lazy("code", "quantity"),
    "ratio": pgettext_lazy("code", "ratio"),
    "reason": pgettext_lazy("code", "reason"),
    "reverses": pgettext_lazy("code", "reverses"),
    "rinse": pgettext_lazy("code", "rinse"),
    "sprayer": pgettext_lazy("code", "sprayer"),
    "starts_at": pgettext_lazy("code", "starts at"),
    "tank": pgettext_lazy("code", "tank"),
    "targets": pgettext_lazy("code", "targets"),
    "temperature": pgettext_lazy("code", "temperature"),
    "water": pgettext_lazy("code", "water"),
    # what a unit measures, and whose word a rule is
    "mass": pgettext_lazy("code", "mass"),
    "volume": pgettext_lazy("code", "volume"),
    "count": pgettext_lazy("code", "count"),
    "area": pgettext_lazy("code", "area"),
    "length": pgettext_lazy("code", "length"),
    "time": pgettext_lazy("code", "time"),
    "speed": pgettext_lazy("code", "speed"),
    "label": pgettext_lazy("code", "label"),
    "regulation": pgettext_lazy("code", "regulation"),
}
"""What stands in sentences for people: states, kinds of work, actions, roles, reasons, fields, dimensions."""


def spoken(code: Any) -> str:
    """Return a code in words; one that has none as it is, without underscores."""
    name = str(code)
    return str(CODES[name]) if name in CODES else name.replace("_", " ")


def listed(codes: Any) -> str:
    """Return codes in words, with commas."""
    return ", ".join(spoken(one) for one in codes)


def language() -> str:
    """Return the language in use that the engine speaks too, else English."""
    asked = (get_language() or "en")[:2]
    return asked if asked in catalogue.LANGUAGES else "en"


SHORT = {"en": "j M", "es": "j b"}
"""A day and its month: `26 Nov`; months are written small in Spanish."""


def short_day(on: dt.date | dt.datetime, *, weekday: bool = False, more: str = "") -> str:
    """Return a day with its month, in the language in use.

    :param more: what follows, as Django writes formats: `Y`, `, H:i`
    """
    return date_format(on, f"{'D ' if weekday else ''}{SHORT[language()]}{more}")


def named(name: str) -> str:
    """Return a crop, target, metal or substance in the language in use; else as it is."""
    return catalogue.named(name, language())


def ingredient(name: str, language: str | None = None) -> str:
    """Return an active ingredient as the container has it, and what it is called in the language in use."""
    here = catalogue.named(name, language or (get_language() or "en")[:2])
    return name if here.lower() == name.lower() else f"{name} ({here})"


def of_engine(fault: QuantityError) -> str:
    """Return what the engine says of a quantity, in the language in use."""
    return fault.text.render(language())
