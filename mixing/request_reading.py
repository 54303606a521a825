"""Reads a request for a mix check from JSON into values, with every fault noted."""

from __future__ import annotations

import re
from datetime import datetime
from decimal import Decimal

from mixing import absurd, doses, quantities, reading
from mixing.catalogue import Text, said
from mixing.faults import TOP, Place, did_you_mean, near
from mixing.label_reading import read_label
from mixing.quantities import QuantityError
from mixing.reading import Reader
from mixing.request import (
    Application,
    MixRequest,
    Product,
    Spray,
    Sprayer,
    SprayerKind,
    Stage,
    Water,
    Weather,
)
from mixing.stages import FIRST, LAST

REQUEST_FIELDS = frozenset(MixRequest.__slots__) - {"recipe"}
STAGE_FIELDS = frozenset(Stage.__slots__)
SPRAYER_FIELDS = frozenset(Sprayer.__slots__) - {"unsaid"}
WATER_FIELDS = frozenset(Water.__slots__)
SPRAY_FIELDS = frozenset(Spray.__slots__)
WEATHER_FIELDS = frozenset(Weather.__slots__)
PRODUCT_FIELDS = frozenset(Product.__slots__)
APPLICATION_FIELDS = frozenset(Application.__slots__)

KINDS = frozenset(SprayerKind)
KINDS_MEANT = {
    "knapsack": "backpack",
    "mochila": "backpack",
    "hand gun": "handgun",
    "spray gun": "handgun",
    "lance": "handgun",
    "air blast": "airblast",
    "mist blower": "airblast",
    "orchard sprayer": "airblast",
    "pump sprayer": "hand_pump",
    "hose end": "hose_end_dial",
    "dial": "hose_end_dial",
    "boom sprayer": "boom",
}
"""What people write for the kinds of sprayer: asked after, never taken. Common practice, no source."""
MEASURES = ("tsp", "tbsp", "cup", "fl_oz", "mL", "oz_wt", "lb", "g")
MOST_PRODUCTS = 20
MOST_APPLICATIONS = 5000
REGION = re.compile(r"[A-Z]{2}(-[A-Z0-9]{1,3})?\Z", re.ASCII)
"""Country or subdivision. Source: ISO 3166-1 and ISO 3166-2, Codes for the representation of names, 2020."""

REGIONS_MEANT = {
    "USA": "US",
    "UNITED STATES": "US",
    "CALIFORNIA": "US-CA",
    "OREGON": "US-OR",
    "WASHINGTON": "US-WA",
    "UK": "GB",
    "UNITED KINGDOM": "GB",
    "ITALY": "IT",
    "ITALIA": "IT",
    "SPAIN": "ES",
    "ESPAÑA": "ES",
    "FRANCE": "FR",
    "MEXICO": "MX",
    "MÉXICO": "MX",
}
"""Names that people write for some countries and states, and their codes: asked after, never taken."""

ZERO, HUNDRED = Decimal(0), Decimal(100)
PH_HIGH, RATIO_HIGH, HOURS_HIGH = Decimal(14), Decimal(10_000), Decimal(87_840)

SPRAY_FORMS = (
    ("total",),
    ("trees", "volume_per_tree"),
    ("row_length", "volume_per_length"),
    ("area", "volume_per_area"),
)
SPRAY_CHOICE = Text("fault.spray_choice")


def read_request(raw: object, *, language: str = "en") -> MixRequest:
    """Return the request that a JSON object gives.

    :param language: `en` or `es`, of the faults
    :raises MixRequestError: with every fault, where there is any
    """
    read = Reader(language)
    request = _request(raw, read)
    read.faults.refuse()
    assert request is not None
    return request


def _request(raw: object, read: Reader) -> MixRequest | None:
    given = read.fields(raw, TOP, REQUEST_FIELDS, what="a mix check")
    if given is None:
        return None
    get = given.get
    read.required(get("crop"), (TOP, "crop"), "fault.crop_missing")
    at = read.moment(get("at"), (TOP, "at"))
    request = MixRequest(
        crop=read.text(get("crop"), (TOP, "crop")) or "",
        stage=_stage(get("stage"), (TOP, "stage"), read, at),
        region=_region(get("region"), (TOP, "region"), read),
        targets=read.texts(get("targets"), (TOP, "targets")),
        season=read.text(get("season"), (TOP, "season")),
        at=at,
        sprayer=_sprayer(get("sprayer"), (TOP, "sprayer"), read),
        water=_water(get("water"), (TOP, "water"), read),
        spray=_spray(get("spray"), (TOP, "spray"), read),
        weather=_weather(get("weather"), (TOP, "weather"), read),
        products=_products(get("products"), (TOP, "products"), read),
        history=_history(get("history"), (TOP, "history"), read, at),
        measures=_measures(get("measures"), (TOP, "measures"), read),
    )
    absurd.note_loads(request, read.faults)
    if read.faults:
        absurd.note_full_tank(request, doses.doses(request), read.faults)
    return request


def _stage(raw: object, at: Place, read: Reader, now: datetime | None) -> Stage | None:
    if raw is None:
        return None
    given = read.fields(raw, at, STAGE_FIELDS, what="a stage")
    if given is None:
        return None
    read.required(given.get("bbch"), (at, "bbch"), "fault.bbch_missing")
    bbch = read.integer(given.get("bbch"), (at, "bbch"), low=FIRST, high=LAST)
    observed_on = read.day(given.get("observed_on"), (at, "observed_on"))
    if observed_on and now and observed_on > now.date():
        detail = said("fault.observed_later", on=observed_on, today=now.date())
        read.faults.add((at, "observed_on"), "out_of_range", detail)
    return None if bbch is None else Stage(bbch, observed_on)


def _region(raw: object, at: Place, read: Reader) -> str | None:
    region = read.text(raw, at)
    if region is None or REGION.match(region):
        return region
    word = region[:60].strip().upper().replace("_", "-")
    hint = (
        did_you_mean([REGIONS_MEANT.get(word, word)]) if word in REGIONS_MEANT or REGION.match(word) else None
    )
    read.faults.add(at, "invalid", said("fault.not_a_region", hint=hint or ""))
    return None


def _sprayer(raw: object, at: Place, read: Reader) -> Sprayer:
    given: dict[str, object] = {}
    if read.required(raw, at, "fault.sprayer_missing"):
        given = read.fields(raw, at, SPRAYER_FIELDS, what="a sprayer") or given
        read.required(given.get("kind"), (at, "kind"), "fault.sprayer_kind_missing")
    kind = read.choice(given.get("kind"), (at, "kind"), KINDS, meant=KINDS_MEANT)
    return Sprayer(
        kind=SprayerKind(kind) if kind else SprayerKind.BACKPACK,
        tank=read.quantity(given.get("tank"), (at, "tank"), reading.VOLUME),
        residue=read.texts(given.get("residue"), (at, "residue")),
        materials=read.texts(given.get("materials"), (at, "materials")),
        dial_max=read.dial(given.get("dial_max"), (at, "dial_max")),
        dial_step=read.dial(given.get("dial_step"), (at, "dial_step")),
        jar=read.quantity(given.get("jar"), (at, "jar"), reading.VOLUME),
        ratio=read.decimal(given.get("ratio"), (at, "ratio"), low=Decimal(1), high=RATIO_HIGH),
        unsaid=tuple(name for name in ("residue", "materials") if given.get(name) is None),
    )


def _water(raw: object, at: Place, read: Reader) -> Water | None:
    if raw is None:
        return None
    given = read.fields(raw, at, WATER_FIELDS, what="water")
    if given is None:
        return None
    return Water(
        ph=read.decimal(given.get("ph"), (at, "ph"), low=ZERO, high=PH_HIGH),
        hardness=read.hardness(given.get("hardness"), (at, "hardness")),
        temperature=read.temperature(given.get("temperature"), (at, "temperature")),
    )


def _spray(raw: object, at: Place, read: Reader) -> Spray | None:
    if raw is None:
        return None
    given = read.fields(raw, at, SPRAY_FIELDS, what="spray")
    if given is None:
        return None
    get = given.get
    _one_form(given, at, read)
    return Spray(
        total=read.quantity(get("total"), (at, "total"), reading.VOLUME),
        area=read.quantity(get("area"), (at, "area"), reading.AREA),
        volume_per_area=read.quantity(
            get("volume_per_area"), (at, "volume_per_area"), reading.VOLUME_PER_AREA
        ),
        dilute_volume_per_area=read.quantity(
            get("dilute_volume_per_area"), (at, "dilute_volume_per_area"), reading.VOLUME_PER_AREA
        ),
        trees=read.integer(get("trees"), (at, "trees"), low=1, high=10_000_000),
        volume_per_tree=read.quantity(get("volume_per_tree"), (at, "volume_per_tree"), reading.VOLUME),
        row_length=read.quantity(get("row_length"), (at, "row_length"), reading.LENGTH),
        volume_per_length=read.quantity(
            get("volume_per_length"), (at, "volume_per_length"), reading.VOLUME_PER_LENGTH
        ),
    )


def _one_form(given: dict[str, object], at: Place, read: Reader) -> None:
    """Note a fault where the spray is said in two ways, in none, or in half of one."""
    there = {field for field in SPRAY_FIELDS if given.get(field) is not None}
    begun = [form for form in SPRAY_FORMS if there.intersection(form) - {"area"}]
    if not begun and "area" in there:
        begun = [SPRAY_FORMS[-1]]
    if not begun:
        read.faults.add(at, "required", said("fault.spray_missing", choice=SPRAY_CHOICE))
        return
    if len(begun) > 1:
        read.faults.add(at, "invalid", said("fault.spray_said_twice", choice=SPRAY_CHOICE))
        return
    for field in begun[0]:
        read.required(
            given.get(field),
            (at, field),
            "fault.missing_beside",
            field=field,
            others=", ".join(sorted(there)),
        )
    if "dilute_volume_per_area" in there and begun[0][-1] != "volume_per_area":
        detail = said("fault.dilute_alone")
        read.faults.add((at, "dilute_volume_per_area"), "invalid", detail)


def _weather(raw: object, at: Place, read: Reader) -> Weather | None:
    if raw is None:
        return None
    given = read.fields(raw, at, WEATHER_FIELDS, what="weather")
    if given is None:
        return None
    get = given.get
    return Weather(
        wind=read.quantity(get("wind"), (at, "wind"), reading.SPEED, zero=True),
        temperature=read.temperature(get("temperature"), (at, "temperature")),
        minimum_next_24h=read.temperature(get("minimum_next_24h"), (at, "minimum_next_24h")),
        humidity_percent=read.decimal(
            get("humidity_percent"), (at, "humidity_percent"), low=ZERO, high=HUNDRED
        ),
        rain_within_h=read.decimal(get("rain_within_h"), (at, "rain_within_h"), low=ZERO, high=HOURS_HIGH),
        inversion=read.flag(get("inversion"), (at, "inversion")),
    )


def _products(raw: object, at: Place, read: Reader) -> tuple[Product, ...]:
    if not read.required(raw, at, "fault.products_missing"):
        return ()
    if raw == []:
        read.faults.add(at, "required", said("fault.products_missing"))
    seen: set[str] = set()
    return read.many(raw, at, lambda one, here: _product(one, here, read, seen), most=MOST_PRODUCTS)


def _product(raw: object, at: Place, read: Reader, seen: set[str]) -> Product | None:
    given = read.fields(raw, at, PRODUCT_FIELDS, what="a product")
    if given is None:
        return None
    name, rate, label = given.get("id"), given.get("rate"), given.get("label")
    read.required(name, (at, "id"), "fault.product_id_missing")
    read.required(rate, (at, "rate"), "fault.rate_missing")
    read.required(label, (at, "label"), "fault.label_missing")
    own_id = read.text(name, (at, "id"))
    own_rate = read.rate(rate, (at, "rate"))
    own_label = None if label is None else read_label(label, (at, "label"), read)
    if own_id is not None:
        if own_id in seen:
            detail = said("fault.twin_ids", id=repr(own_id[:60]))
            read.faults.add((at, "id"), "invalid", detail)
        seen.add(own_id)  # also of a product with other faults: all are told at once
    if own_id is None or own_rate is None or own_label is None:
        return None
    absurd.note_rate(own_rate, own_label, (at, "rate"), read.faults)
    return Product(own_id, own_rate, own_label)


def _history(raw: object, at: Place, read: Reader, now: datetime | None) -> tuple[Application, ...] | None:
    if raw is None:
        return None
    return read.many(raw, at, lambda one, here: _application(one, here, read, now), most=MOST_APPLICATIONS)


def _application(raw: object, at: Place, read: Reader, now: datetime | None) -> Application | None:
    given = read.fields(raw, at, APPLICATION_FIELDS, what="an earlier application")
    if given is None:
        return None
    get = given.get
    read.required(get("on"), (at, "on"), "fault.application_date_missing")
    read.required(get("label"), (at, "label"), "fault.application_label_missing")
    on = read.day(get("on"), (at, "on"))
    label = None if get("label") is None else read_label(get("label"), (at, "label"), read)
    if on and now and on > now.date():
        detail = said("fault.application_later", on=on, today=now.date())
        read.faults.add((at, "on"), "out_of_range", detail)
    bbch = read.integer(get("bbch"), (at, "bbch"), low=FIRST, high=LAST)
    rate = read.rate(get("rate"), (at, "rate"))
    spray_volume = read.quantity(get("spray_volume"), (at, "spray_volume"), reading.VOLUME)
    area = read.quantity(get("area"), (at, "area"), reading.AREA)
    return Application(on, bbch, label, rate, spray_volume, area) if on and label else None


def _measures(raw: object, at: Place, read: Reader) -> tuple[str, ...] | None:
    if raw is None:
        return None
    return tuple(dict.fromkeys(read.many(raw, at, lambda one, here: _measure(one, here, read))))


def _measure(raw: object, at: Place, read: Reader) -> str | None:
    name = read.text(raw, at)
    if name is None:
        return None
    try:
        dimension = quantities.unit(name).dimension
    except QuantityError as fault:
        read.faults.add(at, fault.code, fault.text)
        return None
    if dimension not in reading.AMOUNT:
        hint = near(name, MEASURES)
        read.faults.add(at, "unit_kind", said("fault.not_a_measure", name=name, hint=hint))
        return None
    return name
