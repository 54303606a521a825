"""Reads the rows of a label's use from JSON into values, with every fault noted."""

from __future__ import annotations

from mixing import reading
from mixing.catalogue import said
from mixing.faults import Place
from mixing.labels import Buffer, Use, YearlyLimit
from mixing.quantities import Quantity
from mixing.reading import Reader
from mixing.stages import FIRST, LAST, Window

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
RANGE_FIELDS = frozenset(("minimum", "maximum"))
NONE: dict[str, object] = {}


def read_uses(raw: object, at: Place, read: Reader) -> tuple[Use, ...] | None:
    """Return the rows of a label, None where they are not given; a faulty row is left out."""
    return None if raw is None else read.many(raw, at, lambda one, here: _use(one, here, read))


def _use(raw: object, at: Place, read: Reader) -> Use | None:
    given = read.fields(raw, at, USE_FIELDS, what="a use")
    if given is None:
        return None
    get = given.get
    read.required(get("crops"), (at, "crops"), "fault.crops_missing")
    rate = read_range(get("rate"), (at, "rate"), read)
    wind = read_range(get("wind"), (at, "wind"), read)
    temperature = read_range(get("temperature"), (at, "temperature"), read)
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


def read_range(raw: object, at: Place, read: Reader) -> dict[str, object]:
    """Return the two ends of a range as they came in; neither where it is not given."""
    return NONE if raw is None else read.fields(raw, at, RANGE_FIELDS, what="a range") or NONE


def _ends_in_order(low: Quantity | None, high: Quantity | None, at: Place, read: Reader) -> None:
    if low is None or high is None or low.dimension != high.dimension:
        return
    if low.in_base() > high.in_base():
        read.faults.add((at, "minimum"), "out_of_range", said("fault.ends_reversed"))


def _window(raw: object, at: Place, read: Reader) -> Window | None:
    given = read.fields(raw, at, frozenset(("from", "to")), what="a stage window")
    if given is None:
        return None
    for field in ("from", "to"):
        read.required(given.get(field), (at, field), "fault.window_ends")
    start = read.integer(given.get("from"), (at, "from"), low=FIRST, high=LAST)
    end = read.integer(given.get("to"), (at, "to"), low=FIRST, high=LAST)
    return None if start is None or end is None else Window(start, end)


def _yearly(raw: object, at: Place, read: Reader) -> YearlyLimit | None:
    given = read.fields(raw, at, frozenset(("of", "amount")), what="a yearly limit")
    if given is None:
        return None
    for field in ("of", "amount"):
        read.required(given.get(field), (at, field), "fault.yearly_parts")
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
