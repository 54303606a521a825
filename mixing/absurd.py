"""What nobody can mean: rates a thousand times the label's, hundreds of loads, a tank full of product."""

from __future__ import annotations

from collections.abc import Iterable

from mixing import spraying
from mixing.catalogue import said
from mixing.doses import Dose
from mixing.faults import TOP, Faults, Place
from mixing.labels import Label
from mixing.quantities import Quantity, plain
from mixing.request import MixRequest

MOST_LOADS = 200
TIMES_THE_LABEL = 1000


def note_rate(rate: Quantity, label: Label, at: Place, faults: Faults) -> None:
    """Note a rate that is a thousand times the highest of the label."""
    maxima = [use.maximum for use in label.uses or () if use.maximum is not None]
    alike = [maximum for maximum in maxima if maximum.unit == rate.unit] or [
        maximum for maximum in maxima if maximum.dimension == rate.dimension
    ]
    if alike and rate.in_base() >= TIMES_THE_LABEL * max(maximum.in_base() for maximum in alike):
        detail = said("fault.thousand_times", value=plain(rate.value), unit=rate.unit)
        faults.add((at, "value"), "out_of_range", detail)


def note_loads(request: MixRequest, faults: Faults) -> None:
    """Note a job of more loads than anyone sprays."""
    tank, total = request.sprayer.tank, spraying.total_ml(request.spray)
    if tank is None or total is None or request.sprayer.is_hose_end:
        return
    if total > MOST_LOADS * tank.in_base():
        detail = said("fault.many_loads", most=MOST_LOADS)
        faults.add((TOP, "spray"), "out_of_range", detail)


def note_full_tank(request: MixRequest, doses: Iterable[Dose], faults: Faults) -> None:
    """Note products that leave no room for water."""
    total = spraying.total_ml(request.spray)
    taken = sum([volume for dose in doses if (volume := dose.job_ml) is not None])
    if total is not None and taken >= total:
        detail = said("fault.full_tank")
        faults.add((TOP, "products"), "out_of_range", detail)
