"""The address that reads what a scanner saw on a package, and fills in a receipt with it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from django.utils.translation import gettext as _
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api.fields import Id, Query, Text
from orchard.api.refusals import Fault, Refusal
from orchard.inventory import gs1, queries
from orchard.inventory.api.fields import InStore
from orchard.inventory.models import Lot, Product

PLAIN = (8, 12, 13, 14)
"""Digits of a GTIN as a bar code alone shows it (GS1 General Specifications, section 3.3, from memory)."""


class ScanQuery(Query):
    text = Text(max_length=200, help_text="element string with brackets or FNC1, or the digits of a bar code")


class ScannedLot(serializers.Serializer):
    """A lot of that number that is there already."""

    lot = Id()
    location = serializers.CharField(allow_null=True)
    expires_on = serializers.DateField(allow_null=True)


class ScannedProduct(serializers.Serializer):
    """A product that the package may be of."""

    product = Id()
    name = serializers.CharField()


class ScanFinding(serializers.Serializer):
    """What does not fit between the package and the book."""

    code = serializers.ChoiceField(choices=["expiry_differs"])
    says = serializers.CharField()
    lot = Id()


class ScanShown(serializers.Serializer):
    """What stands on a package, and what the farm has of it."""

    gtin = serializers.CharField(help_text="14 digits")
    number = serializers.CharField(allow_null=True, help_text="of the lot, identifier 10")
    expires_on = serializers.DateField(allow_null=True, help_text="identifier 17; day 00 is the month's last")
    made_on = serializers.DateField(allow_null=True, help_text="identifier 11")
    product = ScannedProduct(allow_null=True, help_text="null: no product, or more than one, has the GTIN")
    link_to = ScannedProduct(
        many=True, help_text="where product is null: those to whose `gtins` it may be added"
    )
    lots = ScannedLot(many=True, help_text="lots of that product and number: receive into one of them")
    findings = ScanFinding(
        many=True, help_text="where the package and the book differ: neither is right before somebody looked"
    )
    receipt = serializers.JSONField(
        allow_null=True,
        help_text="body for `POST lots` where there is no such lot yet; else null",
    )


class Scan(InStore):
    """What a scanned package is: it fills product, lot and expiry of a receipt. Nothing is written."""

    resource = "scan"
    shown = ScanShown
    query = ScanQuery

    def get(self, request: Request, **kwargs: Any) -> Response:
        """Read a scan."""
        text = self.filters()["text"]
        scan = self._read(text)
        same = queries.products(farm=self.farm).filter(gtins__contains=[scan.gtin], archived=False)
        found = list(same.order_by("id")[:2])
        product = found[0] if len(found) == 1 else None
        lots = self._lots(product, scan.lot)
        shown = {
            "gtin": scan.gtin,
            "number": scan.lot,
            "expires_on": scan.expires_on,
            "made_on": scan.made_on,
            "product": None if product is None else _named(product),
            "link_to": [] if product else [_named(one) for one in found or self._without_gtin()],
            "lots": [
                {"lot": lot.id, "location": lot.location or None, "expires_on": lot.expires_on}
                for lot in lots
            ],
            "findings": list(_findings(scan, lots)),
            "receipt": {"gs1": text} if product and scan.lot and not lots else None,
        }
        return Response(ScanShown(shown, context=self.context()).data)

    def _read(self, text: str) -> gs1.Scan:
        try:
            if text.isascii() and text.isdigit() and len(text) in PLAIN:
                return gs1.read(f"(01){text.zfill(14)}", today=self.today())
            return gs1.read(text, today=self.today())
        except gs1.Unreadable as fault:
            raise Refusal(Fault(fault.code, str(fault), "/text")) from None

    def _lots(self, product: Product | None, number: str | None) -> list[Lot]:
        if product is None or number is None:
            return []
        rows = queries.lots(farm=self.farm).filter(product=product, number=number, archived=False)
        return list(rows.order_by("location", "id"))

    def _without_gtin(self) -> list[Product]:
        rows = queries.products(farm=self.farm).filter(gtins=[], archived=False)
        return list(rows.order_by("name", "id")[:50])


def _findings(scan: gs1.Scan, lots: Sequence[Lot]) -> Iterator[dict[str, Any]]:
    """Yield lots of the same number of which the book has another last day than the package."""
    for lot in lots:
        if scan.expires_on is None or scan.expires_on == lot.expires_on:
            continue
        says = _(
            "the package says that lot %(number)s may be used until %(package)s, the book says %(book)s "
            "(%(place)s): read the date on the package, and correct the lot or set the package aside"
        ) % {
            "number": lot.number,
            "package": scan.expires_on,
            "book": lot.expires_on or _("that it does not expire"),
            "place": lot.location or _("no location"),
        }
        yield {"code": "expiry_differs", "says": says, "lot": lot.id}


def _named(product: Product) -> dict[str, Any]:
    return {"product": product.id, "name": product.name}
