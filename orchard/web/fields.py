"""The fields of the forms: one row a field; what comes back keeps what was typed and says what is wrong."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.utils.functional import Promise
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from rest_framework.serializers import CharField
from rest_framework.serializers import Field as Field_

Text = str | Promise

US = {"speed": "mph", "temperature": "degF", "volume": "gal"}
METRIC = {"speed": "km/h", "temperature": "degC", "volume": "L"}
CHOICES = {
    "speed": (("mph", "mph"), ("km/h", "km/h"), ("m/s", "m/s")),
    "temperature": (("degF", "°F"), ("degC", "°C")),
    "volume": (("gal", "gal"), ("qt", "qt"), ("L", "L"), ("mL", "mL")),
}
MOMENT = re.compile(r"(\d{4}-\d\d-\d\d)T(\d\d:\d\d):\d\d(?:\.\d+)?([+-]\d\d:\d\d)")
FORMS_OF_TIME = ("invalid", "time_without_offset")
"""Codes whose details show how a moment is written; in all others it is written as people read it."""


@dataclass(frozen=True, slots=True)
class Field:
    """One field.

    :ivar name: path into the body; a quantity's without `.value` and `.unit`
    :ivar kind: `number`, `quantity`, `text`, `long`, `tick`, `choice` or `hidden`
    :ivar units: what a quantity may be in, as (unit, word)
    :ivar value: what stands in it; `unit` beside it
    :ivar now: the phone fills in the moment it is sent
    """

    name: str
    label: Text = ""
    kind: str = "text"
    help: Text = ""
    required: bool = False
    units: tuple[tuple[str, str], ...] = ()
    choices: tuple[tuple[str, Text], ...] = ()
    value: str = ""
    unit: str = ""
    error: str = ""
    now: bool = False
    most: str = ""
    """A limit that the page itself holds to, in `most_unit`."""

    most_unit: str = ""
    only: str = ""
    """The one choice that the page itself takes."""

    @property
    def id(self) -> str:
        """Its id in the page."""
        return "f-" + self.path.replace(".", "-")

    @property
    def path(self) -> str:
        """Its path into the body, without the type."""
        return self.name.partition(":")[0]

    @property
    def pointer(self) -> str:
        """Its JSON pointer into the body."""
        return "/" + self.path.replace(".", "/")


def quantity(name: str, label: Text, *, of: str, units: str, **more: Any) -> Field:
    """Return a field for an amount with its unit, the farm's first."""
    own = (US if units == "us" else METRIC)[of]
    return Field(name, label, "quantity", units=CHOICES[of], unit=own, **more)


def typed(fields: Iterable[Field], form: Mapping[str, str]) -> list[Field]:
    """Return the fields with what was typed."""
    found = []
    for one in fields:
        if one.kind == "quantity":
            value, unit = form.get(f"{one.name}.value", ""), form.get(f"{one.name}.unit", one.unit)
            found.append(replace(one, value=value, unit=unit))
        else:
            found.append(replace(one, value=form.get(one.name, "")))
    return found


def judged(fields: Sequence[Field], faults: Iterable[Mapping[str, Any]]) -> tuple[list[Field], list[str]]:
    """Return the fields with what is wrong beside each, and what is wrong with the whole."""
    kept, whole = list(fields), []
    for fault in faults:
        told = words_of(fault)
        at = [place for place, one in enumerate(kept) if _belongs(fault["pointer"], one)]
        if not at:
            whole.append(told)
        for place in at:
            kept[place] = replace(kept[place], error=told)
    return kept, whole


def _belongs(pointer: str, field: Field) -> bool:
    return pointer == field.pointer or pointer.startswith(f"{field.pointer}/")


def on_top(known: Iterable[Field], wrong: Sequence[str]) -> list[str]:
    """Return what is said above a form: what is wrong with the whole, then what stands beside the fields."""
    beside = [f"{one.label}: {one.error}" if one.label else one.error for one in known if one.error]
    return [*wrong, *([_("Look at what is marked below."), *beside] if beside else [])]


def words_of(fault: Mapping[str, Any]) -> str:
    """Return a fault in the reader's language: what a page says shorter, else the detail.

    The address answered in the language of the page; what the engine found says it itself.
    """
    finding = fault.get("finding")
    if finding:
        return " ".join(filter(None, (finding.get("says"), finding.get("do"))))
    code, detail = fault["code"], str(fault["detail"])
    if code == "required" and detail in _nothing_said():
        return _("This is needed.")
    if code not in FORMS_OF_TIME:
        detail = MOMENT.sub(r"\1 \2 (UTC\3)", detail)
    return _said_shorter().get(code) or capfirst(detail)


def _nothing_said() -> set[str]:
    """Return what the framework says of a field that is missing: true, and no help."""
    messages = (*Field_.default_error_messages.values(), *CharField.default_error_messages.values())
    return {str(one) for one in messages}


def _said_shorter() -> dict[str, str]:
    """Return what is said instead of details that are meant for programs."""
    return {
        "not_a_decimal": _("Write a number with a point, such as 2.5."),
        "unit_unknown": _("Choose a unit from the list."),
        "time_in_future": _("This time lies ahead. Look at the phone's clock."),
        "revision_is_old": _("The order was changed. Read it again before you go on."),
        "stale": _("The order was changed. Read it again before you go on."),
    }


def said_of_codes() -> dict[str, str]:
    """Return what the pages' script says of codes, where it does not say the detail."""
    told = _("The order is in another state now. Read it again.")
    return {**_said_shorter(), "state_conflict": told}
