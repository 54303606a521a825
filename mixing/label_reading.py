"""Reads a product label from JSON into values, with every fault noted."""

from __future__ import annotations

from decimal import Decimal

from mixing import reading
from mixing.faults import Place
from mixing.formulations import FORMULATIONS
from mixing.labels import (
    Buffer,
    Ingredient,
    Label,
    LabelMixing,
    LabelProtection,
    Metal,
    ModeOfAction,
    PartnerInterval,
    Use,
    YearlyLimit,
)
from mixing.quantities import Quantity
from mixing.reading import Reader
from mixing.stages import FIRST, LAST, Window

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
SIGNAL_WORDS = frozenset(("caution", "warning", "danger", "danger_poison", "none"))
DIRECTIONS = frozenset(("before", "after", "either"))


LABEL_FIELDS = frozenset(Label.__slots__) - {"__weakref__"}
USE_FIELDS = frozenset(
    (
        "crops",
        "targets",
        "rate",
        "stages",
        "re_entry",
        "pre_harvest",
        "interval",
        "maximum_applications",
        "maximum_per_year",
        "wind",
        "rain_free",
        "temperature",
        "buffer",
    )
)
MIXING_FIELDS = frozenset(("do_not_mix_with", "may_mix_with", "intervals", "water_ph", "order", "adjuvants"))
RANGE_FIELDS = frozenset(("minimum", "maximum"))
PH_LOW, PH_HIGH = Decimal(0), Decimal(14)
NONE: dict[str, object] = {}


def read_label(raw: object, at: Place, read: Reader) -> Label | None:
    """Return the label that a JSON object gives; None where it cannot be read, with the faults noted."""
    label = read.fields(raw, at, LABEL_FIELDS, what="a label")
    if label is None:
        return None
    get = label.get
    name = read.text(get("name"), (at, "name"))
    read.required(get("name"), (at, "name"), "a label needs the product's name")
    formulation = get("formulation")
    return Label(
        name=name or "",
        registration=read.text(get("registration"), (at, "registration")),
        active_ingredients=_ingredients(get("active_ingredients"), (at, "active_ingredients"), read),
        function=read.texts(get("function"), (at, "function")),
        mode_of_action=read.many(
            get("mode_of_action"), (at, "mode_of_action"), lambda one, here: _mode(one, here, read)
        ),
        formulation=read.choice(formulation, (at, "formulation"), FORMULATIONS) if formulation else None,
        packet=read.flag(get("packet"), (at, "packet")) or False,
        packet_content=read.quantity(get("packet_content"), (at, "packet_content"), reading.AMOUNT),
        adjuvant=read.choice(get("adjuvant"), (at, "adjuvant"), ADJUVANTS),
        density=_density(get("density"), (at, "density"), read),
        bulk_density=_density(get("bulk_density"), (at, "bulk_density"), read),
        signal_word=read.choice(get("signal_word"), (at, "signal_word"), SIGNAL_WORDS),
        hazards=read.texts(get("hazards"), (at, "hazards")),
        restricted_use=read.flag(get("restricted_use"), (at, "restricted_use")),
        protection=_protection(get("protection"), (at, "protection"), read),
        uses=_uses(get("uses"), (at, "uses"), read),
        mixing=_mixing(get("mixing"), (at, "mixing"), read),
        organic_listed=read.flag(get("organic_listed"), (at, "organic_listed")),
    )


def _density(raw: object, at: Place, read: Reader) -> Quantity | None:
    found = read.quantity(raw, at, reading.DENSITY)
    if found is not None and found.unit == "percent_wv":
        read.faults.add(
            (at, "unit"), "unit_kind", "percent_wv is a content; write a density, such as 0.85 kg/L"
        )
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
    read.required(given.get("name"), (at, "name"), "an active ingredient needs its name")
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
    read.required(given.get("of"), (at, "of"), "name the metal, such as copper")
    of = read.text(given.get("of"), (at, "of"))
    return Metal(of=of or "", content=read.content(given.get("content"), (at, "content")))


def _mode(raw: object, at: Place, read: Reader) -> ModeOfAction | None:
    given = read.fields(raw, at, frozenset(("scheme", "code")), what="a mode of action")
    if given is None:
        return None
    for field in ("scheme", "code"):
        read.required(given.get(field), (at, field), "a mode of action has a scheme (FRAC) and a code (M01)")
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


def _uses(raw: object, at: Place, read: Reader) -> tuple[Use, ...] | None:
    return None if raw is None else read.many(raw, at, lambda one, here: _use(one, here, read))


def _use(raw: object, at: Place, read: Reader) -> Use | None:
    given = read.fields(raw, at, USE_FIELDS, what="a use")
    if given is None:
        return None
    get = given.get
    read.required(get("crops"), (at, "crops"), "a use names its crops")
    rate = _range(get("rate"), (at, "rate"), read)
    wind = _range(get("wind"), (at, "wind"), read)
    temperature = _range(get("temperature"), (at, "temperature"), read)
    use = Use(
        crops=read.texts(get("crops"), (at, "crops")),
        targets=read.texts(get("targets"), (at, "targets")),
        minimum=read.rate(rate.get("minimum"), ((at, "rate"), "minimum")),
        maximum=read.rate(rate.get("maximum"), ((at, "rate"), "maximum")),
        stages=read.many(get("stages"), (at, "stages"), lambda one, here: _window(one, here, read)),
        re_entry=read.time(get("re_entry"), (at, "re_entry")),
        pre_harvest=read.time(get("pre_harvest"), (at, "pre_harvest")),
        interval=read.time(get("interval"), (at, "interval")),
        maximum_applications=read.integer(
            get("maximum_applications"), (at, "maximum_applications"), low=1, high=1000
        ),
        maximum_per_year=read.many(
            get("maximum_per_year"), (at, "maximum_per_year"), lambda one, here: _yearly(one, here, read)
        ),
        wind_maximum=read.quantity(wind.get("maximum"), ((at, "wind"), "maximum"), reading.SPEED, zero=True),
        wind_minimum=read.quantity(wind.get("minimum"), ((at, "wind"), "minimum"), reading.SPEED, zero=True),
        rain_free=read.time(get("rain_free"), (at, "rain_free")),
        temperature_minimum=read.temperature(temperature.get("minimum"), ((at, "temperature"), "minimum")),
        temperature_maximum=read.temperature(temperature.get("maximum"), ((at, "temperature"), "maximum")),
        buffer=_buffer(get("buffer"), (at, "buffer"), read),
    )
    _ends_in_order(use.minimum, use.maximum, (at, "rate"), read)
    _ends_in_order(use.wind_minimum, use.wind_maximum, (at, "wind"), read)
    _ends_in_order(use.temperature_minimum, use.temperature_maximum, (at, "temperature"), read)
    return use


def _range(raw: object, at: Place, read: Reader) -> dict[str, object]:
    return NONE if raw is None else read.fields(raw, at, RANGE_FIELDS, what="a range") or NONE


def _ends_in_order(low: Quantity | None, high: Quantity | None, at: Place, read: Reader) -> None:
    if low is None or high is None or low.dimension != high.dimension:
        return
    if low.in_base() > high.in_base():
        read.faults.add((at, "minimum"), "out_of_range", "the minimum is above the maximum")


def _window(raw: object, at: Place, read: Reader) -> Window | None:
    given = read.fields(raw, at, frozenset(("from", "to")), what="a stage window")
    if given is None:
        return None
    for field in ("from", "to"):
        read.required(given.get(field), (at, field), "a stage window has both ends, from and to")
    start = read.integer(given.get("from"), (at, "from"), low=FIRST, high=LAST)
    end = read.integer(given.get("to"), (at, "to"), low=FIRST, high=LAST)
    return None if start is None or end is None else Window(start, end)


def _yearly(raw: object, at: Place, read: Reader) -> YearlyLimit | None:
    given = read.fields(raw, at, frozenset(("of", "amount")), what="a yearly limit")
    if given is None:
        return None
    for field in ("of", "amount"):
        read.required(given.get(field), (at, field), "a yearly limit has `of` and `amount`")
    of = read.text(given.get("of"), (at, "of"))
    amount = read.quantity(given.get("amount"), (at, "amount"), reading.AMOUNT_PER_AREA)
    return YearlyLimit(of, amount) if of and amount else None


def _buffer(raw: object, at: Place, read: Reader) -> Buffer | None:
    if raw is None:
        return None
    given = read.fields(raw, at, frozenset(("width", "from")), what="a buffer")
    if given is None:
        return None
    width = read.quantity(given.get("width"), (at, "width"), reading.LENGTH, zero=True)
    return Buffer(width=width, beside=read.text(given.get("from"), (at, "from")))


def _mixing(raw: object, at: Place, read: Reader) -> LabelMixing | None:
    if raw is None:
        return None
    given = read.fields(raw, at, MIXING_FIELDS, what="mixing")
    if given is None:
        return None
    ph = _range(given.get("water_ph"), (at, "water_ph"), read)
    order, here = given.get("order"), (at, "order")
    order = NONE if order is None else read.fields(order, here, ORDER_FIELDS, what="an order") or NONE
    kinds, there = given.get("adjuvants"), (at, "adjuvants")
    kinds = NONE if kinds is None else read.fields(kinds, there, ADJUVANT_FIELDS, what="adjuvants") or NONE
    allowed = kinds.get("allowed")
    return LabelMixing(
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


ORDER_FIELDS = frozenset(("before", "after", "fill_percent"))
ADJUVANT_FIELDS = frozenset(("allowed", "forbidden", "required"))


def _whats(raw: object, at: Place, read: Reader) -> tuple[str, ...]:
    return read.many(raw, at, lambda one, here: _what(one, here, read))


def _what(raw: object, at: Place, read: Reader) -> str | None:
    """Return a partner, written `{"what": "oil"}` or, in a plain list, `"oil"`."""
    if type(raw) is not dict:
        return read.text(raw, at)
    given = read.fields(raw, at, frozenset(("what",)), what="a partner")
    if given is None or not read.required(given.get("what"), (at, "what"), "name the partner"):
        return None
    return read.text(given["what"], (at, "what"))


def _kinds(raw: object, at: Place, read: Reader) -> tuple[str, ...]:
    return read.many(raw, at, lambda one, here: read.choice(one, here, ADJUVANTS))


def _interval(raw: object, at: Place, read: Reader) -> PartnerInterval | None:
    given = read.fields(raw, at, frozenset(("what", "interval", "direction")), what="an interval")
    if given is None:
        return None
    for field in ("what", "interval"):
        read.required(given.get(field), (at, field), "an interval has `what`, `interval` and `direction`")
    what = read.text(given.get("what"), (at, "what"))
    interval = read.time(given.get("interval"), (at, "interval"))
    direction = read.choice(given.get("direction"), (at, "direction"), DIRECTIONS) or "either"
    return PartnerInterval(what, interval, direction) if what and interval else None
