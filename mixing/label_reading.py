"""Reads a product label from JSON into values, with every fault noted."""

from __future__ import annotations

import marshal
from decimal import Decimal
from functools import lru_cache

from mixing import reading
from mixing.catalogue import said
from mixing.faults import TOP, Place, did_you_mean
from mixing.formulations import FORMULATIONS, TRADE_CODES, USUAL, nearest
from mixing.labels import (
    Ingredient,
    Label,
    LabelMixing,
    LabelProtection,
    Metal,
    ModeOfAction,
    PartnerInterval,
)
from mixing.quantities import Quantity
from mixing.reading import Reader
from mixing.use_reading import NONE, read_range, read_uses

ADJUVANTS = frozenset(
    (
        "surfactant",
        "sticker",
        "oil",
        "water_conditioner",
        "compatibility_agent",
        "drift_retardant",
        "antifoam",
        "nutrient",
    )
)
ADJUVANTS_MEANT = {
    "spreader": "surfactant",
    "wetting agent": "surfactant",
    "wetter": "surfactant",
    "penetrant": "surfactant",
    "spreader sticker": "sticker",
    "crop oil": "oil",
    "acidifier": "water_conditioner",
    "buffer": "water_conditioner",
    "ph buffer": "water_conditioner",
    "defoamer": "antifoam",
    "foliar fertilizer": "nutrient",
    "fertilizer": "nutrient",
    "thickener": "drift_retardant",
    "drift control agent": "drift_retardant",
}
"""What people write for the kinds of adjuvant: asked after, never taken. Common practice, no source."""
SIGNAL_WORDS = frozenset(("caution", "warning", "danger", "danger_poison", "none"))
DIRECTIONS = frozenset(("before", "after", "either"))


LABEL_FIELDS = frozenset(Label.__slots__) - {"__weakref__"}
MIXING_FIELDS = frozenset(("do_not_mix_with", "may_mix_with", "intervals", "water_ph", "order", "adjuvants"))
PH_LOW, PH_HIGH = Decimal(0), Decimal(14)


def read_label(raw: object, at: Place, read: Reader) -> Label | None:
    """Return the label that a JSON object gives; None where it cannot be read, with the faults noted.

    The same content gives the same label: a farm has few of them, and history repeats them.
    """
    if type(raw) is dict:
        try:
            return _sound_label(marshal.dumps(raw, 2))
        except ValueError:  # faulty, or nothing that JSON can hold: find out what
            pass
    return _read_label(raw, at, read)


@lru_cache(maxsize=1024)
def _sound_label(content: bytes) -> Label:
    """Return the label of some content, read once.

    :param content: the JSON object as `marshal` writes it without references: equal only where all types are
    :raises ValueError: where it has a fault
    """
    read = Reader()
    label = _read_label(marshal.loads(content), TOP, read)
    if label is None or read.faults:
        raise ValueError
    return label


def _read_label(raw: object, at: Place, read: Reader) -> Label | None:
    label = read.fields(raw, at, LABEL_FIELDS, what="a label")
    if label is None:
        return None
    get = label.get
    name = read.text(get("name"), (at, "name"))
    read.required(get("name"), (at, "name"), "fault.product_name_missing")
    formulation = get("formulation")
    return Label(
        name=name or "",
        registration=read.text(get("registration"), (at, "registration")),
        active_ingredients=_ingredients(get("active_ingredients"), (at, "active_ingredients"), read),
        function=read.texts(get("function"), (at, "function")),
        mode_of_action=read.many(
            get("mode_of_action"), (at, "mode_of_action"), lambda one, here: _mode(one, here, read)
        ),
        formulation=_formulation(formulation, (at, "formulation"), read) if formulation else None,
        packet=read.flag(get("packet"), (at, "packet")) or False,
        packet_content=read.quantity(get("packet_content"), (at, "packet_content"), reading.AMOUNT),
        adjuvant=read.choice(get("adjuvant"), (at, "adjuvant"), ADJUVANTS, meant=ADJUVANTS_MEANT),
        density=_density(get("density"), (at, "density"), read),
        bulk_density=_density(get("bulk_density"), (at, "bulk_density"), read),
        signal_word=read.choice(get("signal_word"), (at, "signal_word"), SIGNAL_WORDS),
        hazards=read.texts(get("hazards"), (at, "hazards")),
        restricted_use=read.flag(get("restricted_use"), (at, "restricted_use")),
        protection=_protection(get("protection"), (at, "protection"), read),
        uses=read_uses(get("uses"), (at, "uses"), read),
        mixing=_mixing(get("mixing"), (at, "mixing"), read),
        organic_listed=read.flag(get("organic_listed"), (at, "organic_listed")),
    )


def _formulation(raw: object, at: Place, read: Reader) -> str | None:
    code = TRADE_CODES.get(raw.strip().upper()) if type(raw) is str else None
    if code is not None:
        read.faults.add(at, "invalid", said("fault.trade_code", given=repr(raw), code=code))
        return None
    found = read.text(raw, at)
    if found is None or found in FORMULATIONS:
        return found
    hint = did_you_mean(nearest(found)) or said("fault.codes_in_use", names=", ".join(USUAL))
    read.faults.add(at, "invalid", said("fault.unknown_code", name=repr(found[:60]), hint=hint))
    return None


def _density(raw: object, at: Place, read: Reader) -> Quantity | None:
    found = read.quantity(raw, at, reading.DENSITY)
    if found is not None and found.unit == "percent_wv":
        read.faults.add((at, "unit"), "unit_kind", said("fault.content_not_density"))
        return None
    return found


def _ingredients(raw: object, at: Place, read: Reader) -> tuple[Ingredient, ...] | None:
    if raw is None:
        return None
    return read.many(raw, at, lambda one, here: _ingredient(one, here, read))


def _ingredient(raw: object, at: Place, read: Reader) -> Ingredient | None:
    given = read.fields(raw, at, frozenset(("name", "content", "metal")), what="an active ingredient")
    if given is None:
        return None
    name = read.text(given.get("name"), (at, "name"))
    read.required(given.get("name"), (at, "name"), "fault.ingredient_name_missing")
    return Ingredient(
        name=name or "",
        content=read.content(given.get("content"), (at, "content")),
        metal=_metal(given.get("metal"), (at, "metal"), read),
    )


def _metal(raw: object, at: Place, read: Reader) -> Metal | None:
    if raw is None:
        return None
    given = read.fields(raw, at, frozenset(("of", "content")), what="a metal equivalent")
    if given is None:
        return None
    read.required(given.get("of"), (at, "of"), "fault.metal_missing")
    of = read.text(given.get("of"), (at, "of"))
    return Metal(of=of or "", content=read.content(given.get("content"), (at, "content")))


def _mode(raw: object, at: Place, read: Reader) -> ModeOfAction | None:
    given = read.fields(raw, at, frozenset(("scheme", "code")), what="a mode of action")
    if given is None:
        return None
    for field in ("scheme", "code"):
        read.required(given.get(field), (at, field), "fault.mode_of_action")
    scheme, code = read.text(given.get("scheme"), (at, "scheme")), read.text(given.get("code"), (at, "code"))
    return ModeOfAction(scheme, code) if scheme and code else None


def _protection(raw: object, at: Place, read: Reader) -> LabelProtection | None:
    if raw is None:
        return None
    given = read.fields(raw, at, frozenset(("handler", "early_entry")), what="protection")
    if given is None:
        return None
    return LabelProtection(
        handler=read.texts(given.get("handler"), (at, "handler")),
        early_entry=read.texts(given.get("early_entry"), (at, "early_entry")),
    )


def _mixing(raw: object, at: Place, read: Reader) -> LabelMixing | None:
    if raw is None:
        return None
    given = read.fields(raw, at, MIXING_FIELDS, what="mixing")
    if given is None:
        return None
    ph = read_range(given.get("water_ph"), (at, "water_ph"), read)
    order, here = given.get("order"), (at, "order")
    order = NONE if order is None else read.fields(order, here, ORDER_FIELDS, what="an order") or NONE
    kinds, there = given.get("adjuvants"), (at, "adjuvants")
    kinds = NONE if kinds is None else read.fields(kinds, there, ADJUVANT_FIELDS, what="adjuvants") or NONE
    allowed = kinds.get("allowed")
    mixing = LabelMixing(
        do_not_mix_with=_whats(given.get("do_not_mix_with"), (at, "do_not_mix_with"), read),
        may_mix_with=_whats(given.get("may_mix_with"), (at, "may_mix_with"), read),
        intervals=read.many(
            given.get("intervals"), (at, "intervals"), lambda one, spot: _interval(one, spot, read)
        ),
        water_ph_minimum=read.decimal(
            ph.get("minimum"), ((at, "water_ph"), "minimum"), low=PH_LOW, high=PH_HIGH
        ),
        water_ph_maximum=read.decimal(
            ph.get("maximum"), ((at, "water_ph"), "maximum"), low=PH_LOW, high=PH_HIGH
        ),
        order_before=_whats(order.get("before"), (here, "before"), read),
        order_after=_whats(order.get("after"), (here, "after"), read),
        order_fill_percent=read.decimal(
            order.get("fill_percent"), (here, "fill_percent"), low=Decimal(1), high=Decimal(100)
        ),
        adjuvants_allowed=None if allowed is None else _kinds(allowed, (there, "allowed"), read),
        adjuvants_forbidden=_kinds(kinds.get("forbidden"), (there, "forbidden"), read),
        adjuvants_required=_kinds(kinds.get("required"), (there, "required"), read),
    )
    low, high = mixing.water_ph_minimum, mixing.water_ph_maximum
    if low is not None and high is not None and low > high:
        read.faults.add(((at, "water_ph"), "minimum"), "out_of_range", said("fault.ends_reversed"))
    return mixing


ORDER_FIELDS = frozenset(("before", "after", "fill_percent"))
ADJUVANT_FIELDS = frozenset(("allowed", "forbidden", "required"))


def _whats(raw: object, at: Place, read: Reader) -> tuple[str, ...]:
    return read.many(raw, at, lambda one, here: _what(one, here, read))


def _what(raw: object, at: Place, read: Reader) -> str | None:
    """Return a partner, written `{"what": "oil"}` or, in a plain list, `"oil"`."""
    if type(raw) is not dict:
        return read.text(raw, at)
    given = read.fields(raw, at, frozenset(("what",)), what="a partner")
    if given is None or not read.required(given.get("what"), (at, "what"), "fault.partner_missing"):
        return None
    return read.text(given["what"], (at, "what"))


def _kinds(raw: object, at: Place, read: Reader) -> tuple[str, ...]:
    return read.many(raw, at, lambda one, here: read.choice(one, here, ADJUVANTS, meant=ADJUVANTS_MEANT))


def _interval(raw: object, at: Place, read: Reader) -> PartnerInterval | None:
    given = read.fields(raw, at, frozenset(("what", "interval", "direction")), what="an interval")
    if given is None:
        return None
    for field in ("what", "interval"):
        read.required(given.get(field), (at, field), "fault.interval_parts")
    what = read.text(given.get("what"), (at, "what"))
    interval = read.time(given.get("interval"), (at, "interval"))
    direction = read.choice(given.get("direction"), (at, "direction"), DIRECTIONS) or "either"
    return PartnerInterval(what, interval, direction) if what and interval else None
