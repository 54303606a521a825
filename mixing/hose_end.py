"""Hose-end sprayers: the mark to set, what goes into the jar, and how often the jar is filled.

A dial draws neat product at an amount per volume; a fixed ratio draws one part of premix in so many of spray.
Nothing here can stir: a dry product, or two that are unlike, are not fit for a jar.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_DOWN, Decimal

from mixing import doses as dosage
from mixing import spraying
from mixing.doses import Dose
from mixing.findings import Basis, Finding, Missing, Severity
from mixing.measuring import SLACK
from mixing.quantities import EXACT, Quantity, plain
from mixing.request import MixRequest, Spray, SprayerKind

FIVE_PERCENT = Decimal("0.05")
ONE = Decimal(1)
ANY_VOLUME = Quantity(ONE, "gal")
Amounts = tuple[tuple[str, Quantity | None], ...]


@dataclass(frozen=True, slots=True)
class Dial:
    """What to set and what to fill. None where it cannot be worked out.

    :ivar setting, wanted: amount per volume, in the unit of the dial's step; None for a fixed ratio
    :ivar error: (set - wanted) / wanted
    :ivar premix, per_jar: neat product for the whole job and for one full jar
    :ivar water, water_per_jar: for a fixed ratio, the water in the premix and in one full jar
    :ivar jar_makes: spray that one full jar makes
    :ivar jars: how often the jar is filled, rounded up
    """

    setting: Quantity | None = None
    wanted: Quantity | None = None
    error: Decimal | None = None
    premix: Amounts = ()
    per_jar: Amounts | None = None
    water: Quantity | None = None
    water_per_jar: Quantity | None = None
    jar_makes: Quantity | None = None
    jars: int | None = None


def dial(
    request: MixRequest, doses: Sequence[Dose]
) -> tuple[Dial | None, tuple[Finding, ...], tuple[Missing, ...]]:
    """Return the dial of a hose-end sprayer, what makes it unfit, and what was missing for it."""
    kind, total = request.sprayer.kind, spraying.total_ml(request.spray)
    if not request.sprayer.is_hose_end:
        return None, (), ()
    unfit = tuple(_unfit(doses))
    wanted = ("dial_max", "dial_step", "jar") if kind is SprayerKind.HOSE_END_DIAL else ("ratio", "jar")
    missing = tuple(Missing(f"sprayer.{name}") for name in wanted if getattr(request.sprayer, name) is None)
    if total is None:
        return _without_job(request), unfit, missing
    if kind is SprayerKind.HOSE_END_DIAL:
        found, findings = _set_dial(request, doses, total)
    else:
        found, findings = _set_ratio(request, doses, total)
    return found, (*unfit, *findings), missing


def _without_job(request: MixRequest) -> Dial:
    """Return what can be said without the spray of the job: the setting, and one full jar."""
    notional = replace(request, spray=Spray(total=ANY_VOLUME))
    total, doses = ANY_VOLUME.in_base(), dosage.doses(notional)
    setting = _set_dial if request.sprayer.kind is SprayerKind.HOSE_END_DIAL else _set_ratio
    found, _ = setting(notional, doses, total)
    return replace(found, premix=tuple((dose.product.id, None) for dose in doses), water=None, jars=None)


def _unfit(doses: Sequence[Dose]) -> list[Finding]:
    findings = [
        Finding("hose-end.dry-product", Severity.CAUTION, Basis.PRACTICE, (dose.product.id,), _named(dose))
        for dose in doses
        if dose.product.label.is_dry
    ]
    for rank, one in enumerate(doses):
        for other in doses[rank + 1 :]:
            kinds = one.product.label.formulation, other.product.label.formulation
            if kinds[0] != kinds[1] and None not in kinds:
                both = (one.product.id, other.product.id)
                said = {"first": one.product.label.name, "second": other.product.label.name}
                findings.append(Finding("hose-end.unlike-pair", Severity.CAUTION, Basis.PRACTICE, both, said))
    return findings


def _named(dose: Dose) -> dict[str, str]:
    return {"product": dose.product.label.name}


def _set_dial(request: MixRequest, doses: Sequence[Dose], total: Decimal) -> tuple[Dial, list[Finding]]:
    sprayer, premix = request.sprayer, _premix(doses)
    volumes = [dose.job_ml for dose in doses]
    taken = sum((volume for volume in volumes if volume is not None), Decimal(0))
    step = sprayer.dial_step
    if step is None or None in volumes or step.dimension != "volume/volume":
        return Dial(premix=premix), []
    wanted = taken / total
    mark = _mark(wanted, step.in_base(), sprayer.dial_max, _highest(doses, taken, total))
    per_unit = step.in_base() / step.value
    shown = None if mark is None else Quantity(spraying.rounded(mark / per_unit), step.unit)
    error = None if mark is None else (mark - wanted) / wanted
    found = Dial(
        setting=shown,
        wanted=Quantity(spraying.rounded(wanted / per_unit), step.unit),
        error=error,
        premix=premix,
    )
    found = found if mark is None else _with_jars(found, request, doses, taken, mark)
    return found, _dial_findings(found, sprayer.dial_max, wanted)


def _highest(doses: Sequence[Dose], taken: Decimal, total: Decimal) -> Decimal | None:
    """Return the highest setting at which no product passes its label's maximum [mL/mL]."""
    settings = [
        taken / total * dose.limit / dose.job
        for dose in doses
        if dose.limit is not None and dose.job is not None
    ]
    return min(settings, default=None)


def _mark(wanted: Decimal, step: Decimal, end: Quantity | None, highest: Decimal | None) -> Decimal | None:
    """Return the nearest mark that passes no maximum, else the mark below; None where there is no mark."""
    marks = (wanted / step).quantize(SLACK, context=EXACT)
    number = max(marks.to_integral_value(ROUND_HALF_DOWN), ONE)
    if highest is not None and number * step > highest + SLACK:
        allowed = (highest / step + SLACK).to_integral_value(ROUND_FLOOR)
        number = allowed if allowed > 0 else marks.to_integral_value(ROUND_FLOOR)
    if end is not None:
        number = min(number, (end.in_base() / step).quantize(SLACK).to_integral_value(ROUND_FLOOR))
    return number * step if number > 0 else None


def _dial_findings(found: Dial, end: Quantity | None, wanted: Decimal) -> list[Finding]:
    findings = []
    past_the_end = found.setting is None or (end is not None and wanted > end.in_base() + SLACK)
    assert found.wanted is not None
    said = {"wanted": plain(found.wanted.value, 2), "unit": found.wanted.unit}
    if past_the_end:
        findings.append(Finding("hose-end.dial-past-its-end", Severity.CAUTION, Basis.PRACTICE, (), said))
    if found.error is not None and abs(found.error) > FIVE_PERCENT and found.setting is not None:
        error = plain(abs(found.error * 100).quantize(Decimal("0.1")))
        side = "above" if found.error > 0 else "below"
        said = {**said, "setting": plain(found.setting.value), "error": error, "side": side}
        findings.append(Finding("hose-end.dial-error", Severity.CAUTION, Basis.PRACTICE, (), said))
    return findings


def _set_ratio(request: MixRequest, doses: Sequence[Dose], total: Decimal) -> tuple[Dial, list[Finding]]:
    ratio, premix = request.sprayer.ratio, _premix(doses)
    if ratio is None:
        return Dial(premix=premix), []
    premix_ml = total / ratio
    taken = sum((dose.job_ml for dose in doses if dose.job_ml is not None), Decimal(0))
    if taken > premix_ml + SLACK:
        products = tuple(dose.product.id for dose in doses)
        return Dial(premix=premix), [
            Finding("hose-end.ratio-too-thin", Severity.STOP, Basis.LABEL, products, {"ratio": plain(ratio)})
        ]
    water = premix_ml - taken
    found = Dial(premix=premix, water=spraying.of_volume(water, spraying.load_unit(request)))
    found = _with_jars(found, request, doses, premix_ml, ONE / ratio)
    jar = request.sprayer.jar
    if jar is None:
        return found, []
    in_jar = spraying.of_volume(water * jar.in_base() / premix_ml, jar.unit)
    return replace(found, water_per_jar=in_jar), []


def _with_jars(
    found: Dial, request: MixRequest, doses: Sequence[Dose], premix_ml: Decimal, drawn: Decimal
) -> Dial:
    """Add what one full jar holds and makes; `drawn` is what is drawn into one part of spray [mL/mL]."""
    jar = request.sprayer.jar
    if jar is None or not premix_ml:
        return found
    part = jar.in_base() / premix_ml
    per_jar = tuple(
        (
            dose.product.id,
            None if dose.job is None else Quantity(spraying.rounded(dose.job * part), dose.unit),
        )
        for dose in doses
    )
    makes = spraying.of_volume(jar.in_base() / drawn, spraying.load_unit(request))
    jars = int((premix_ml / jar.in_base()).quantize(SLACK).to_integral_value(ROUND_CEILING))
    return replace(found, per_jar=per_jar, jar_makes=makes, jars=jars)


def _premix(doses: Sequence[Dose]) -> Amounts:
    return tuple(
        (dose.product.id, None if dose.job is None else Quantity(spraying.rounded(dose.job), dose.unit))
        for dose in doses
    )
