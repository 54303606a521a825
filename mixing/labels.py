"""What a product label says, as values: read once from JSON, then never a dict again.

Fields are named as in the contract. Absent and null are None (or an empty tuple for a list of texts); only
`uses` and `mixing` keep the difference between "the label was not copied out" (None) and "it says none" (()).
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from mixing.formulations import DRY
from mixing.quantities import Quantity
from mixing.stages import Window


@dataclass(frozen=True, slots=True)
class Metal:
    """How much of an element is in an ingredient, as the label gives it: `of` is `copper`."""

    of: str
    content: Quantity | None


@dataclass(frozen=True, slots=True)
class Ingredient:
    """One active ingredient."""

    name: str
    content: Quantity | None
    metal: Metal | None


@dataclass(frozen=True, slots=True)
class ModeOfAction:
    """How it works: `FRAC` and `M01`."""

    scheme: str
    code: str


@dataclass(frozen=True, slots=True)
class LabelProtection:
    """What must be worn by handlers and by those who go in early."""

    handler: tuple[str, ...]
    early_entry: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class YearlyLimit:
    """The most of a substance per area in 365 days; `of` as in `what`."""

    of: str
    amount: Quantity


@dataclass(frozen=True, slots=True)
class Buffer:
    """A strip left unsprayed, and what it protects."""

    width: Quantity | None
    beside: str | None


@dataclass(frozen=True, slots=True)
class Use:
    """One row of a label: on these crops, against these targets, within these limits. None is no limit."""

    crops: tuple[str, ...]
    targets: tuple[str, ...]
    minimum: Quantity | None
    maximum: Quantity | None
    stages: tuple[Window, ...]
    re_entry: Quantity | None
    pre_harvest: Quantity | None
    interval: Quantity | None
    maximum_applications: int | None
    maximum_per_year: tuple[YearlyLimit, ...]
    wind_maximum: Quantity | None
    wind_minimum: Quantity | None
    rain_free: Quantity | None
    temperature_minimum: Quantity | None
    temperature_maximum: Quantity | None
    buffer: Buffer | None


@dataclass(frozen=True, slots=True)
class PartnerInterval:
    """Days to keep between this product and a partner that is sprayed `before` it, `after` it or `either`."""

    what: str
    interval: Quantity
    direction: str


@dataclass(frozen=True, slots=True)
class LabelMixing:
    """What a label says of the tank: partners, water, order, adjuvants."""

    do_not_mix_with: tuple[str, ...]
    may_mix_with: tuple[str, ...]
    intervals: tuple[PartnerInterval, ...]
    water_ph_minimum: Decimal | None
    water_ph_maximum: Decimal | None
    order_before: tuple[str, ...]
    order_after: tuple[str, ...]
    order_fill_percent: Decimal | None
    """The share of the tank to fill before the first product, where the label names one [percent]."""
    adjuvants_allowed: tuple[str, ...] | None
    adjuvants_forbidden: tuple[str, ...]
    adjuvants_required: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True)
class Label:
    """A product label. It equals only itself, so that facts about it can be kept by it."""

    name: str
    registration: str | None
    active_ingredients: tuple[Ingredient, ...] | None
    function: tuple[str, ...]
    mode_of_action: tuple[ModeOfAction, ...]
    formulation: str | None
    packet: bool
    packet_content: Quantity | None
    adjuvant: str | None
    density: Quantity | None
    bulk_density: Quantity | None
    signal_word: str | None
    hazards: tuple[str, ...]
    restricted_use: bool | None
    protection: LabelProtection | None
    uses: tuple[Use, ...] | None
    mixing: LabelMixing | None
    organic_listed: bool | None

    @property
    def is_dry(self) -> bool | None:
        """Whether it is weighed rather than poured; None where the formulation is not given."""
        return None if self.formulation is None else self.formulation in DRY

    @property
    def same_product(self) -> str:
        """What tells products apart: the registration, or the name where there is none."""
        return f"registration {self.registration}" if self.registration else f"name {self.name}"
