"""One request for a mix check, as values: what goes on what, with what, when, and what went before."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum
from functools import lru_cache

from mixing.labels import Label
from mixing.quantities import Quantity


class SprayerKind(StrEnum):
    """What sprays; the two hose-end kinds have no tank and draw from a jar."""

    HAND_PUMP = "hand_pump"
    BACKPACK = "backpack"
    HANDGUN = "handgun"
    AIRBLAST = "airblast"
    BOOM = "boom"
    HOSE_END_DIAL = "hose_end_dial"
    HOSE_END_RATIO = "hose_end_ratio"


@dataclass(frozen=True, slots=True)
class Stage:
    """The growth stage seen on a day [BBCH]."""

    bbch: int
    observed_on: date | None


@dataclass(frozen=True, slots=True)
class Sprayer:
    """What sprays. `residue` is what the last load left, named as in `what`."""

    kind: SprayerKind
    tank: Quantity | None
    residue: tuple[str, ...]
    materials: tuple[str, ...]
    dial_max: Quantity | None
    dial_step: Quantity | None
    jar: Quantity | None
    ratio: Decimal | None
    unsaid: tuple[str, ...] = ()
    """Which of `residue` and `materials` were not given; given and empty says that there is none."""

    @property
    def is_hose_end(self) -> bool:
        """Whether it draws from a jar at the end of a hose."""
        return self.kind in (SprayerKind.HOSE_END_DIAL, SprayerKind.HOSE_END_RATIO)


@dataclass(frozen=True, slots=True)
class Water:
    """The water to mix with; hardness in ppm of calcium carbonate."""

    ph: Decimal | None
    hardness: Quantity | None
    temperature: Quantity | None


@dataclass(frozen=True, slots=True)
class Spray:
    """How much is to be sprayed, in one of four ways; `area` may stand beside each."""

    total: Quantity | None = None
    area: Quantity | None = None
    volume_per_area: Quantity | None = None
    dilute_volume_per_area: Quantity | None = None
    trees: int | None = None
    volume_per_tree: Quantity | None = None
    row_length: Quantity | None = None
    volume_per_length: Quantity | None = None


@dataclass(frozen=True, slots=True)
class Weather:
    """The weather of the application: now, and the rain and the frost that are forecast."""

    wind: Quantity | None
    temperature: Quantity | None
    minimum_next_24h: Quantity | None
    humidity_percent: Decimal | None
    rain_within_h: Decimal | None
    inversion: bool | None


@dataclass(frozen=True, slots=True)
class Product:
    """One product of the tank."""

    id: str
    rate: Quantity
    label: Label


@dataclass(frozen=True, slots=True)
class Application:
    """One earlier application on the same ground."""

    on: date
    bbch: int | None
    label: Label
    rate: Quantity | None
    spray_volume: Quantity | None
    area: Quantity | None


@dataclass(frozen=True, slots=True, eq=False)
class Recipe:
    """The products of a tank without their rates: what is the same for every job of them, whatever its size.

    The same products give the same recipe. It equals only itself, so that what follows can be kept by it.
    """

    products: tuple[tuple[str, Label], ...]
    """Each id with its label."""
    ids: tuple[str, ...]


@lru_cache(maxsize=1024)
def _recipe(products: tuple[tuple[str, Label], ...]) -> Recipe:
    return Recipe(products, tuple(id for id, _ in products))


@dataclass(frozen=True, slots=True)
class MixRequest:
    """A request that can be understood. Absent parts are None or empty; `measures` None is "not given"."""

    crop: str
    stage: Stage | None
    region: str | None
    targets: tuple[str, ...]
    season: str | None
    at: datetime | None
    sprayer: Sprayer
    water: Water | None
    spray: Spray | None
    weather: Weather | None
    products: tuple[Product, ...]
    history: tuple[Application, ...] | None
    measures: tuple[str, ...] | None
    recipe: Recipe = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "recipe", _recipe(tuple([(one.id, one.label) for one in self.products])))

    @property
    def order(self) -> tuple[str, ...]:
        """Ids of the products as they stand in the request."""
        return self.recipe.ids
