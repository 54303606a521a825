"""The addresses of the emergency list: what stands where and whom to call, as JSON and as one page to print.

The page needs no other file, so that it can be kept on a phone, mailed to the fire brigade, or hung up away
from the store. The crew pages keep it on the phone for when there is no signal.
"""

from __future__ import annotations

import datetime as dt
from itertools import groupby
from typing import Any

from django.http import HttpResponse
from django.utils import translation
from django.utils.html import format_html, format_html_join
from django.utils.safestring import mark_safe
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from mixing import catalogue
from mixing.quantities import plain
from orchard.api.fields import Id, Moment, Query
from orchard.api.spoken import ingredient
from orchard.inventory import emergency_queries as queries
from orchard.inventory.api.fields import EveryDigit, InStore
from orchard.inventory.emergency_queries import Danger


class DangerShown(serializers.Serializer):
    """One lot."""

    lot = Id()
    number = serializers.CharField(source="lot.number")
    product = serializers.CharField(help_text="its name")
    registration = serializers.CharField(allow_null=True)
    active_ingredients = serializers.ListField(child=serializers.CharField(), source="ingredients")
    signal_word = serializers.CharField(allow_null=True, help_text="null: not known, which is not harmless")
    hazards = serializers.ListField(child=serializers.CharField())
    quantity = EveryDigit(help_text="in the product's stock unit")


class DangerPlace(serializers.Serializer):
    """One place of the store."""

    place = serializers.CharField(allow_null=True, help_text="null: nobody entered where it stands")
    lots = DangerShown(many=True)


class EmergencyListShown(serializers.Serializer):
    """What stands where, and whom to call."""

    as_of = Moment()
    farm = serializers.CharField()
    emergency = serializers.CharField(allow_null=True, help_text="whom to call, as the farm entered it")
    places = DangerPlace(many=True)


class EmergencyList(InStore):
    """What stands where, place by place, and whom to call."""

    resource = "emergency_list"
    shown = EmergencyListShown
    query = Query

    def get(self, request: Request, **kwargs: Any) -> Any:
        """Read it as of this moment."""
        self.filters()
        found = queries.dangers(farm=self.farm, on=self.today())
        places = [(place, list(lots)) for place, lots in groupby(found, key=lambda one: one.place)]
        return self.written(places)

    def written(self, places: list[tuple[str | None, list[Danger]]]) -> Any:
        """Return the answer."""
        shown = {
            "as_of": self.now,
            "farm": self.farm.name,
            "emergency": self.farm.emergency,
            "places": [{"place": place, "lots": lots} for place, lots in places],
        }
        return Response(EmergencyListShown(shown, context=self.context()).data)


WORDS = {
    "en": {
        "language": "en",
        "title": "Emergency list",
        "as_of": "As of",
        "call": "In an emergency call",
        "nobody": "nobody entered: call the emergency number of your country",
        "place": "Place",
        "no_place": "place not known",
        "product": "Product",
        "ingredients": "Active ingredients",
        "hazard": "Hazard",
        "quantity": "Quantity",
        "lot": "Lot",
        "unknown": "not known: treat it as dangerous",
        "empty": "Nothing is in store.",
        "hang": "Keep a copy away from the store. Print it again when the stock changes.",
    },
    "es": {
        "language": "es",
        "title": "Lista de emergencia",
        "as_of": "Vigente al",
        "call": "En una emergencia llame a",
        "nobody": "nadie anotado: llame al número de emergencias de su país",
        "place": "Lugar",
        "no_place": "lugar desconocido",
        "product": "Producto",
        "ingredients": "Ingredientes activos",
        "hazard": "Peligro",
        "quantity": "Cantidad",
        "lot": "Lote",
        "unknown": "no se sabe: trátelo como peligroso",
        "empty": "No hay nada en el almacén.",
        "hang": "Guarde una copia lejos del almacén. Imprímala de nuevo cuando cambien las existencias.",
    },
}


STYLE = mark_safe(
    "body{font:18px/1.4 system-ui,sans-serif;margin:0 auto;max-width:60rem;padding:0 .75rem;color:#1f1720;"
    "background:#fff;overflow-wrap:anywhere}h1{font-size:1.5rem}h2{font-size:1.2rem;margin-bottom:.3rem}"
    ".call{border:3px solid #8c1c13;padding:.6rem;font-size:1.3rem}table{border-collapse:collapse;width:100%}"
    "th,td{border:1px solid #1f1720;padding:.3rem;text-align:left;vertical-align:top}"
    "@media print,(min-width:40.1rem){th{overflow-wrap:normal}}"
    "@media screen and (max-width:40rem){thead{position:absolute;clip-path:inset(50%)}tr,td{display:block}"
    "td{border:0;padding:.1rem 0}td:first-child{font-weight:bold}tr{border-bottom:1px solid;padding:.4rem 0}}"
)
"""Written into the page, since it needs no other file."""


class EmergencyPage(EmergencyList):
    """The same as one page to print or keep, in the reader's language; it needs no other file."""

    @property
    def responses(self) -> Any:
        return {(200, "text/html"): str}

    def written(self, places: list[tuple[str | None, list[Danger]]]) -> HttpResponse:
        language = (translation.get_language() or "en")[:2]
        language = language if language in WORDS else "en"
        at = self.now.astimezone(self.context()["zone"])
        page = _page(self.farm.name, self.farm.emergency, at, places, language)
        response = HttpResponse(page, content_type="text/html; charset=utf-8")
        response["Cache-Control"] = "private, no-cache"
        response["Content-Language"] = language
        return response


def _page(
    farm: str,
    emergency: str | None,
    at: dt.datetime,
    places: list[tuple[str | None, list[Danger]]],
    language: str,
) -> str:
    say = WORDS[language]
    tables = format_html_join("", "{}", ((_table(place, lots, say),) for place, lots in places))
    return format_html(
        '<!doctype html><html lang="{}"><meta charset="utf-8"><meta name="viewport" '
        'content="width=device-width, initial-scale=1"><style>{}</style><title>{}: {}</title><main>'
        '<h1>{}: {}</h1><p class="call">{}: <b>{}</b></p><p>{} {}</p>{}<p>{}</p></main></html>',
        language,
        STYLE,
        say["title"],
        farm,
        say["title"],
        farm,
        say["call"],
        emergency or say["nobody"],
        say["as_of"],
        at.isoformat(sep=" ", timespec="minutes"),
        tables or say["empty"],
        say["hang"],
    )


def _table(place: str | None, lots: list[Danger], say: dict[str, str]) -> str:
    names = ("product", "ingredients", "hazard", "quantity", "lot")
    head = format_html_join("", '<th scope="col">{}</th>', ((say[name],) for name in names))
    rows = format_html_join("", "<tr>{}</tr>", ((_row(one, say),) for one in lots))
    title = place or say["no_place"]
    return format_html(
        "<h2>{}: {}</h2><table><thead><tr>{}</tr></thead><tbody>{}</tbody></table>",
        say["place"],
        title,
        head,
        rows,
    )


def _row(one: Danger, say: dict[str, str]) -> str:
    signal = catalogue.word("signal_word", one.signal_word, say["language"]) if one.signal_word else None
    hazard = ", ".join([*([signal] if signal else []), *one.hazards]) or say["unknown"]
    named = f"{one.product} ({one.registration})" if one.registration else one.product
    cells = (
        named,
        ", ".join(ingredient(each, say["language"]) for each in one.ingredients) or say["unknown"],
        hazard,
        f"{plain(one.quantity.value, 3)} {one.quantity.unit}",
        one.lot.number,
    )
    return format_html_join("", "<td>{}</td>", ((cell,) for cell in cells))
