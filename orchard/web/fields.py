"""The fields of the forms: one row a field; what comes back keeps what was typed and says what is wrong."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _

Text = str | Promise

US = {"speed": "mph", "temperature": "degF", "volume": "gal"}
METRIC = {"speed": "km/h", "temperature": "degC", "volume": "L"}
CHOICES = {
    "speed": (("mph", "mph"), ("km/h", "km/h"), ("m/s", "m/s")),
    "temperature": (("degF", "°F"), ("degC", "°C")),
    "volume": (("gal", "gal"), ("qt", "qt"), ("L", "L"), ("mL", "mL")),
}


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


def words_of(fault: Mapping[str, Any]) -> str:
    """Return a fault in the reader's language; what the engine found says it itself."""
    finding = fault.get("finding")
    if finding:
        return " ".join(filter(None, (finding.get("says"), finding.get("do"))))
    said = said_of_codes().get(fault["code"])
    return said or str(fault["detail"])


def said_of_codes() -> dict[str, str]:
    """Return what the commonest codes say, in the reader's language; the pages' script reads them too."""
    return {
        "required": _("This is needed."),
        "not_a_decimal": _("Write a number with a point, such as 2.5."),
        "out_of_range": _("This number cannot be."),
        "unit_unknown": _("Choose a unit from the list."),
        "time_in_future": _("This time lies ahead. Look at the phone's clock."),
        "people_in_block": _("There are people in the block. Wait until all are out."),
        "block_in_re_entry": _("The block is still closed after a spray. Ask the manager."),
        "worker_not_qualified": _("Somebody named here may not mix and spray. Ask the manager."),
        "sprayer_not_calibrated": _("The sprayer is due for calibration."),
        "sprayer_not_clean": _("The sprayer is not clean. Wash it first."),
        "revision_is_old": _("The order was changed. Read it again before you go on."),
        "stale": _("The order was changed. Read it again before you go on."),
        "state_conflict": _("The order is in another state now. Read it again."),
        "load_exists": _("A load with this number is on file already."),
        "loads_missing": _("Tell of at least one load first."),
        "over_tank": _("This is more than the tank holds."),
        "leftover_fate_required": _("Say what became of what was left in the tank."),
        "possible_duplicate": _(
            "The end of this work was told already by somebody else. The manager sees both."
        ),
        "reason_required": _("Say why."),
        "role_not_allowed": _("Your role may not do this."),
        "stock_short": _("The store holds less than this."),
    }
