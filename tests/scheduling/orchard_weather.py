"""Plain days and hours for the tests of windows and plans."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from mixing.quantities import Quantity
from scheduling.weather import WeatherDay, WeatherHour

NOON = datetime(2026, 12, 18, 12, tzinfo=UTC)


def quantity(value: str | None, unit: str) -> Quantity | None:
    return None if value is None else Quantity(Decimal(value), unit)


def day(
    on: date,
    *,
    minimum: str | None = "4",
    maximum: str | None = "14",
    rain: str | None = "0",
    wind: str | None = "2",
) -> WeatherDay:
    return WeatherDay(
        on,
        quantity(minimum, "degC"),
        quantity(maximum, "degC"),
        quantity(rain, "mm"),
        quantity(wind, "m/s"),
    )


def fine_days(first: date, count: int) -> list[WeatherDay]:
    return [day(first + timedelta(days=step)) for step in range(count)]


def hour(
    after: int,
    *,
    temperature: str | None = "9",
    wind: str | None = "5",
    gust: str | None = None,
    rain: str | None = "0",
    leaf_wet: bool | None = False,
    humidity: str | None = None,
) -> WeatherHour:
    return WeatherHour(
        at=NOON + timedelta(hours=after),
        kind="forecast",
        temperature=quantity(temperature, "degC"),
        humidity_percent=None if humidity is None else Decimal(humidity),
        wind=quantity(wind, "mph"),
        gust=quantity(gust, "mph"),
        rain=quantity(rain, "mm"),
        leaf_wet=leaf_wet,
    )


def fine_hours(count: int) -> list[WeatherHour]:
    return [hour(after) for after in range(count)]
