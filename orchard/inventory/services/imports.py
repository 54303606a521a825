"""Taking in a file of the storekeeper's: whole, or not at all with every fault by row and column."""

from __future__ import annotations

import datetime as dt
import difflib
import uuid
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from orchard.api.refusals import Fault, Refusal, Unprocessable
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.farms.rows import FarmRow
from orchard.inventory import queries
from orchard.inventory.csv_reading import at
from orchard.inventory.models import Lot, Movement, Product, StockImport
from orchard.inventory.services import lots, movements, products

MOST_FAULTS = 500
OPENING = "opening balance"

Said = Mapping[str, Any]
Take = Callable[..., FarmRow]


class Wrong(Exception):
    """One cell that cannot be taken."""

    def __init__(self, code: str, detail: str, column: str) -> None:
        super().__init__(detail)
        self.code, self.detail, self.column = code, detail, column


class Products:
    """The farm's products by what a file may call them: name, id or GTIN."""

    def __init__(self, *, farm: Farm) -> None:
        self.by_name: dict[str, list[Product]] = {}
        self.by_other: dict[str, Product] = {}
        self.row = 0
        self.opened: dict[uuid.UUID, int] = {}
        """The row that gave each lot its opening balance."""
        self.entered: dict[tuple[uuid.UUID, str, str], int] = {}
        """The row that made the lot of each product, number and place."""
        for row in queries.products(farm=farm).filter(archived=False).order_by("id"):
            self.note(row)

    def note(self, row: Product) -> None:
        """Know one more."""
        self.by_name.setdefault(row.name.casefold(), []).append(row)
        self.by_other[str(row.id)] = row
        for gtin in row.gtins:
            self.by_other.setdefault(gtin, row)

    def find(self, called: str) -> Product:
        """Return the one that is called so.

        :raises Wrong: `not_found`, `ambiguous`
        """
        if called in self.by_other:
            return self.by_other[called]
        found = self.by_name.get(called.casefold(), [])
        if len(found) == 1:
            return found[0]
        if found:
            raise Wrong(
                "ambiguous",
                _("%(found)s products are called %(called)s: write its id")
                % {"found": len(found), "called": repr(called)},
                "product",
            )
        near = difflib.get_close_matches(called.casefold(), self.by_name, n=1)
        facts = {"called": repr(called[:80]), "near": repr(self.by_name[near[0]][0].name) if near else ""}
        if near:
            says = _("there is no product %(called)s: did you mean %(near)s?") % facts
        else:
            says = _("there is no product %(called)s") % facts
        raise Wrong("not_found", says, "product")


def take_in(
    *,
    farm: Farm,
    kind: str,
    rows: Sequence[tuple[int, Said]],
    faults: Iterable[Fault],
    columns: Mapping[str, str],
    sha256: str,
    by: Actor,
    now: dt.datetime,
) -> StockImport:
    """Take in the rows of a file, all or none.

    :param rows: the number of each row, and what it says
    :param faults: what is wrong with the file already: nothing is kept then
    :param columns: the column of each pointer of a row's fault
    :raises Unprocessable: with every fault by row and column
    """
    found, made = list(faults), []
    known = Products(farm=farm)
    with transaction.atomic():
        for number, said in rows:
            known.row = number
            try:
                made.append(_TAKE[kind](farm=farm, known=known, said=dict(said), by=by, now=now))
            except Wrong as wrong:
                found.append(
                    Fault(
                        wrong.code,
                        _("row %(number)s: %(detail)s") % {"number": number, "detail": wrong.detail},
                        at(number, wrong.column),
                    )
                )
            except Refusal as refusal:
                found += (_of_row(number, fault, columns) for fault in refusal.faults)
        if found:
            raise Unprocessable(*_sorted(found))
        return journal.create(
            StockImport,
            farm=farm,
            by=by,
            now=now,
            kind=kind,
            sha256=sha256,
            rows=len(made),
            made=[str(row.id) for row in made],
        )


def _of_row(number: int, fault: Fault, columns: Mapping[str, str]) -> Fault:
    column = columns.get(fault.pointer, fault.pointer.strip("/").partition("/")[0])
    return Fault(
        fault.code,
        _("row %(number)s: %(detail)s") % {"number": number, "detail": fault.detail},
        at(number, column),
        refers_to=fault.refers_to,
        short=fault.short,
    )


def _sorted(faults: list[Fault]) -> list[Fault]:
    def place(fault: Fault) -> int:
        number = fault.pointer.split("/")[2:3]
        return int(number[0]) if number and number[0].isdigit() else 0

    faults.sort(key=place)
    if len(faults) > MOST_FAULTS:
        more = _("and %(faults)s more: mend these first") % {"faults": len(faults) - MOST_FAULTS}
        return [*faults[:MOST_FAULTS], Fault("invalid", more)]
    return faults


def _product(*, farm: Farm, known: Products, said: dict[str, Any], by: Actor, now: dt.datetime) -> Product:
    same = known.by_name.get(said["name"].casefold())
    if same:
        detail = _("a product %(same)s is there already, or stands in the file twice") % {
            "same": repr(same[0].name)
        }
        raise Wrong("product_exists", detail, "name")
    made = products.add_product(farm=farm, by=by, now=now, **said)
    known.note(made)
    return made


def _lot(*, farm: Farm, known: Products, said: dict[str, Any], by: Actor, now: dt.datetime) -> Lot:
    product = said["product"] = known.find(said["product"])
    here = (product.key, said["number"], said.get("location") or "")
    if here in known.entered:  # what that row made is gone with the file: no lot to point to
        facts = {"lot": said["number"], "row": known.entered[here]}
        detail = _("lot %(lot)s stands in row %(row)s already: one row a lot and place") % facts
        raise Wrong("lot_exists", detail, "number")
    made = lots.add_lot(farm=farm, by=by, now=now, **said)
    known.entered[here] = known.row
    return made


def _opening(*, farm: Farm, known: Products, said: dict[str, Any], by: Actor, now: dt.datetime) -> Movement:
    """Enter what a lot held when the book was begun: an `adjust`, since it may have expired already."""
    product, place = known.find(said["product"]), said.get("location", "")
    rows = queries.lots(farm=farm).filter(product=product, number=said["number"])
    lot = rows.filter(location=place).first()
    if lot is None:
        there = ", ".join(sorted({row.location or _("no location") for row in rows}))
        facts = {"number": repr(said["number"][:40]), "there": there, "product": product.name}
        if there:
            says = _("there is no lot %(number)s here: it is at %(there)s") % facts
        else:
            says = _("there is no lot %(number)s here: import the lots of %(product)s first") % facts
        raise Wrong("not_found", says, "number")
    if lot.pk in known.opened:
        detail = _("lot %(lot)s stands in row %(row)s already: one balance a lot and place") % {
            "lot": lot.number,
            "row": known.opened[lot.pk],
        }
        raise Wrong("not_empty", detail, "number")
    if Movement.objects.for_farm(farm).filter(lot=lot).exists():
        detail = _("lot %(lot)s has movements already: count it with a stocktake instead") % {
            "lot": lot.number
        }
        raise Wrong("not_empty", detail, "number")
    entered = movements.move(
        farm=farm,
        kind="adjust",
        lot=lot,
        quantity=said["quantity"],
        at=said.get("at"),
        reason=OPENING,
        by=by,
        now=now,
    )
    known.opened[lot.pk] = known.row
    return entered


_TAKE: dict[str, Take] = {"products": _product, "lots": _lot, "opening_balances": _opening}
