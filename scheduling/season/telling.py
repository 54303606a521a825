"""The season in words: rows and reports as lines of text, nothing added to what they say."""

from __future__ import annotations

import datetime as dt
import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

from mixing.quantities import Quantity, parse_quantity, plain
from orchard.api.refusals import Refusal
from orchard.inventory import amounts
from orchard.inventory.models import Lot, Movement
from orchard.tasks.models import WorkOrder
from scheduling.reasons import Reason
from scheduling.season.story import Look, Outlook

WIDTH = 100
CAUTION = "\nA demonstration: label, local rules and a licensed adviser come first; no figure here is advice."
UNITS = {"fl_oz": "fl oz", "percent_vv": "% of the spray", "degC": "°C", "degF": "°F"}


def words(quantity: Quantity | Mapping[str, str], *, places: int = 2) -> str:
    """Return an amount for a person, rounded for reading only."""
    amount = quantity if isinstance(quantity, Quantity) else parse_quantity(dict(quantity))
    rounded = amount.value.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_EVEN)
    name = amount.unit
    for unit, word in UNITS.items():
        name = word if name == unit else name.replace(f"{unit}/", f"{word}/")
    return f"{plain(rounded)} {name}"


def paragraph(text: str, *, indent: int = 2, hang: int = 0) -> str:
    """Return a text in lines of at most a hundred characters."""
    start = " " * indent
    return textwrap.fill(
        text,
        WIDTH,
        initial_indent=start,
        subsequent_indent=start + " " * hang,
        break_long_words=False,
        break_on_hyphens=False,
    )


def heading(on: dt.date) -> str:
    """Return a day as the head of what happened on it."""
    return f"\n{day(on)}"


def day(on: dt.date) -> str:
    """Return a day in words."""
    return f"{on:%a} {on.day} {on:%b %Y}"


def table(rows: Sequence[Sequence[str]], *, indent: int = 2) -> Iterator[str]:
    """Yield rows in columns, the first row as their heads."""
    widths = [max(len(row[at]) for row in rows) for at in range(len(rows[0]))]
    for row in rows:
        cells = (cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        yield (" " * indent + "  ".join(cells)).rstrip()


def refusal(refused: Refusal, *, what: str) -> Iterator[str]:
    """Yield why something was refused: the code of each fault and its sentence, with the finding's advice."""
    yield paragraph(f"REFUSED: {what}", hang=2)
    for fault in refused.faults:
        code = fault.code
        if fault.finding:
            code += f", {fault.finding['id']}, {fault.finding['basis']}"
        advice = (fault.finding or {}).get("do")
        yield paragraph(f"- {_sentences(fault.detail, advice)} [{code}]", indent=4, hang=2)


def _sentences(*parts: str | None) -> str:
    said = [part.rstrip(".") for part in parts if part]
    return " ".join(f"{part[0].upper()}{part[1:]}." for part in said)


def findings(report: Mapping[str, Any], *, least: Sequence[str] = ("stop", "caution")) -> Iterator[str]:
    """Yield the verdict of a mix check and its findings."""
    yield f"    verdict: {report['verdict']}"
    for finding in report["findings"]:
        if finding["severity"] in least:
            says = f"- {finding['severity']}: {finding['says']} {finding['do']} [{finding['id']}]"
            yield paragraph(says, indent=4, hang=2)


def doses(report: Mapping[str, Any], names: Mapping[str, str]) -> Iterator[str]:
    """Yield what the whole job takes of each product, per area too, with the metal in it."""
    for total in report["totals"]:
        line = f"{names[total['id']]}: {words(total['exact'])}"
        per_area = total["per_area"]
        if per_area:
            line += f", that is {_per_area(per_area)}"
        for metal in total["metal"]:
            line += f"; {words(parse_quantity(metal['amount']).to('lb'))} of {metal['of']} in it"
        yield f"    {line}"


def _per_area(per_area: Mapping[str, str]) -> str:
    rate = parse_quantity(dict(per_area))
    above, below = rate.unit.split("/")
    pounds = {"oz_wt": "lb", "fl_oz": "gal"}.get(above)
    return words(rate.to(f"{pounds}/{below}") if pounds else rate)


def tank_sheet(order: WorkOrder, report: Mapping[str, Any], names: Mapping[str, str]) -> Iterator[str]:
    """Yield the tank sheet: the order of filling once, and what goes into each load."""
    yield f"  Tank sheet of order {order.number}: {order.block}, {order.sprayer}"
    gear = ", ".join(one.replace("_", " ") for one in report["protection"]["handler"])
    yield paragraph(f"Wear {gear}. Signal word: {report['protection']['signal_word']}.", indent=4, hang=2)
    for step in report["order"]:
        yield paragraph(f"{step['step']}. {_step(step, names)}", indent=4, hang=3)
    for load in order.loads_planned:
        parts = ", ".join(_measured(one, names) for one in load["products"])
        total = len(order.loads_planned)
        line = f"load {load['number']} of {total}, {words(load['spray'])} of spray: {parts}"
        yield paragraph(line, indent=4, hang=2)


def _step(step: Mapping[str, Any], names: Mapping[str, str]) -> str:
    what = names.get(step.get("product", ""), step.get("what", ""))
    amount = f" {words(step['amount'])}" if step.get("amount") else ""
    time = f" for {words(step['for'])}" if step.get("for") else ""
    note = f": {step['note'].split('. ')[0].rstrip('.')}" if step.get("note") else ""
    return f"{step['action']}{amount} {what}".rstrip() + time + note


def _measured(one: Mapping[str, Any], names: Mapping[str, str]) -> str:
    measure = " + ".join(words(part) for part in one["measure"] or ())
    error = f", {one['error_percent']} % off" if one["error_percent"] not in ("0.0", "-0.0", None) else ""
    return f"{words(one['exact'])} {names[one['id']]}" + (f" (measure {measure}{error})" if measure else "")


def reasons(found: Iterable[Reason]) -> str:
    """Return why a day is closed in one line."""
    return "; ".join(reason.says for reason in found)


def limits(found: Iterable[Reason]) -> set[str]:
    """Return the codes of the limits that close a day."""
    return {reason.limit.value for reason in found}


def brief(found: Iterable[Reason]) -> str:
    """Return which limits close a day, in one word each."""
    return ", ".join(dict.fromkeys(reason.limit.value for reason in found))


def look(seen: Look) -> str:
    """Return what somebody saw in a block."""
    leaves = f", {plain(seen.leaf_drop_percent)} % of the leaves down" if seen.leaf_drop_percent else ""
    return f"  {seen.block}: BBCH {seen.bbch}{leaves} ({seen.told})"


def outlook(seen: Outlook) -> Iterator[str]:
    """Yield the forecasts of a planning day and what they mean for the last safe day."""
    for forecast in seen.forecasts:
        yield paragraph(f"- {forecast.says}", indent=4, hang=2)
    yield paragraph(seen.last_safe.says + ".", indent=4)


def movement(line: Movement) -> str:
    """Return one line of the ledger."""
    product = line.lot.product
    after = amounts.in_stock_unit(line.balance_after_base, product)
    return (
        f"    lot {line.lot.number} of {product.name}: {line.kind} {words(line.quantity, places=4)}, "
        f"{words(after, places=4)} left"
    )


def store(lots: Iterable[Lot]) -> Iterator[str]:
    """Yield what is in store, lot by lot."""
    rows = [("product", "lot", "expires", "on hand", "reserved")]
    for lot in lots:
        held, promised = (
            words(amounts.in_stock_unit(base, lot.product), places=4)
            for base in (lot.on_hand_base, lot.reserved_base)
        )
        rows.append((lot.product.name, lot.number, str(lot.expires_on or "never"), held, promised))
    yield from table(rows)


def applied(one: Mapping[str, Any], names: Mapping[str, str]) -> str:
    """Return one product of an application record: what went on, per area, with its metal."""
    line = f"{names[one['product']]}: {words(one['amount'])} on the block"
    if one.get("per_area"):
        line += f", {_per_area(one['per_area'])}"
    for metal in one.get("metal") or ():
        line += f"; {words(parse_quantity(metal['amount']).to('lb'))} of {metal['of']}"
    return line
