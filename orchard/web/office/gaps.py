"""What a check could not look at, in words: the engine names it by its place in the request."""

from __future__ import annotations

from collections.abc import Mapping

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

IN_WORDS: Mapping[str, Promise] = {
    "at": gettext_lazy("when it is sprayed"),
    "history": gettext_lazy("what was sprayed before"),
    "measures": gettext_lazy("measuring cups and spoons"),
    "region": gettext_lazy("region"),
    "season": gettext_lazy("season"),
    "spray": gettext_lazy("amount of spray"),
    "spray.area": gettext_lazy("area that is sprayed"),
    "sprayer.materials": gettext_lazy("what the sprayer is made of"),
    "sprayer.residue": gettext_lazy("what was in the sprayer before"),
    "sprayer.tank": gettext_lazy("size of the tank"),
    "stage": gettext_lazy("stage of the buds"),
    "stage.observed_on": gettext_lazy("day on which the buds were looked at"),
    "targets": gettext_lazy("what it is sprayed against"),
    "water.hardness": gettext_lazy("hardness of the water"),
    "water.ph": gettext_lazy("pH of the water"),
    "water.temperature": gettext_lazy("temperature of the water"),
    "weather.humidity_percent": gettext_lazy("humidity of the air"),
    "weather.inversion": gettext_lazy("whether the air stands still"),
    "weather.minimum_next_24h": gettext_lazy("coldest of the next 24 hours"),
    "weather.rain_within_h": gettext_lazy("hours until rain"),
    "weather.temperature": gettext_lazy("temperature of the air"),
    "weather.wind": gettext_lazy("wind"),
    "label.active_ingredients": gettext_lazy("active ingredients"),
    "label.adjuvant": gettext_lazy("kind of adjuvant"),
    "label.bulk_density": gettext_lazy("bulk density"),
    "label.content": gettext_lazy("content of an active ingredient"),
    "label.density": gettext_lazy("density"),
    "label.formulation": gettext_lazy("formulation"),
    "label.function": gettext_lazy("what it works against"),
    "label.hazards": gettext_lazy("hazards"),
    "label.metal": gettext_lazy("content of metal"),
    "label.mixing": gettext_lazy("what it may be mixed with"),
    "label.mode_of_action": gettext_lazy("group of its mode of action"),
    "label.packet_content": gettext_lazy("content of a packet"),
    "label.pre_harvest": gettext_lazy("pre-harvest interval"),
    "label.protection": gettext_lazy("what to wear"),
    "label.rate": gettext_lazy("rate"),
    "label.re_entry": gettext_lazy("re-entry interval"),
    "label.registration": gettext_lazy("registration number"),
    "label.signal_word": gettext_lazy("signal word"),
    "label.uses": gettext_lazy("uses"),
}


def in_words(what: str, *, names: Mapping[str, str]) -> str:
    """Return what was missing, in words.

    :param what: as in the report's `not_checked`: `spray.area`, or `label.density:` and the id of a product
    :param names: of the products, by id
    """
    place, _colon, product = what.partition(":")
    told = str(IN_WORDS.get(place, place))
    if not product:
        return told
    return _("label of {product}: {what}").format(product=names.get(product, product), what=told)
