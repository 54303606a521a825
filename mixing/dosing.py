"""What the doses and loads of a tank show that the person must know, and what was missing for them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal

from mixing import measuring
from mixing.doses import Dose
from mixing.findings import Basis, Finding, Missing, Severity
from mixing.loads import Load, LoadDose, percent
from mixing.quantities import plain

ZERO, FIVE_PERCENT = Decimal(0), Decimal("0.05")


def findings(doses: Sequence[Dose], loads: Sequence[Load]) -> tuple[Finding, ...]:
    """Return what is wrong with the doses; one finding of a kind for each product."""
    different = loads[-2:]  # full loads are alike
    found: list[Finding] = []
    for rank, dose in enumerate(doses):
        if dose.missing or dose.product.label.packet:
            found += _of_dose(dose)
        found += _of_loads(dose, [load.products[rank] for load in different])
    return tuple(found)


def missing(doses: Iterable[Dose]) -> Iterator[Missing]:
    """Yield what would be needed to say more about the doses."""
    for dose in doses:
        yield from dose.missing
        if dose.product.label.packet and dose.product.label.packet_content is None:
            yield Missing(f"label.packet_content:{dose.product.id}")


def _caution(id: str, dose: Dose, **said: str) -> Finding:
    return _said(id, dose, Severity.CAUTION, **said)


def _said(id: str, dose: Dose, severity: Severity, **said: str) -> Finding:
    parameters = {"product": dose.product.label.name, **said}
    return Finding(id, severity, Basis.PRACTICE, (dose.product.id,), parameters)


def _of_dose(dose: Dose) -> Iterator[Finding]:
    wanted = {one.what.partition(":")[0] for one in dose.missing}
    if "label.density" in wanted:  # good to know where the dose stands in the unit of the label all the same
        severity = Severity.CAUTION if dose.job is None else Severity.NOTE
        yield _said("dose.cannot-be-turned", dose, severity)
    if "label.content" in wanted:
        yield _caution("dose.content-unknown", dose)
    if dose.product.label.packet and dose.product.label.packet_content is None:
        yield _caution("dose.packet-content-unknown", dose)


def _of_loads(dose: Dose, loads: Sequence[LoadDose]) -> list[Finding]:
    found, worst, none = [], ZERO, False
    for load in loads:
        if load.error is None:
            none = none or load.measure == ()
        elif abs(load.error) > abs(worst):  # the first of two alike
            worst = load.error
    if _in_whole_packets(dose):  # no finer measure helps with what may not be opened: told of below
        worst = ZERO
    if worst == -1:
        found.append(_caution("dose.below-smallest-mark", dose))
    elif abs(worst) > FIVE_PERCENT:
        side = "above" if worst > 0 else "below"
        found.append(_caution("dose.measuring-error", dose, error=percent(abs(worst)) or "", side=side))
    if none:
        found.append(_caution("dose.no-measure", dose))
    if dose.product.label.packet:
        found += _of_packets(dose, loads)
    return found


def _in_whole_packets(dose: Dose) -> bool:
    return dose.product.label.packet and dose.product.label.packet_content is not None


def _of_packets(dose: Dose, loads: Sequence[LoadDose]) -> Iterator[Finding]:
    content = dose.product.label.packet_content
    if not dose.product.label.packet or content is None:
        return
    packet = measuring.packet_amount(dose, content)
    for load in loads:
        if load.exact is None or packet is None:
            continue
        if not measuring.whole_packets(dose, load.exact.value):
            yield _caution("dose.part-packet", dose, packets=plain(load.exact.value / packet, 2))
            return
