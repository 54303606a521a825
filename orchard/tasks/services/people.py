"""Whether those who are sent may do the work: of age, trained, fit-tested, licensed. Never why not."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from django.utils.translation import gettext as _

from orchard.api.refusals import Fault
from orchard.api.remembered import remembered
from orchard.crews import queries as crews
from orchard.crews.models import Crew, Worker
from orchard.inventory import queries as store
from orchard.tasks import checks
from orchard.tasks.models import WorkOrder
from orchard.tasks.states import HANDLED


def crew_of(order: WorkOrder) -> Iterator[Fault]:
    """Yield that nobody is named for the work."""
    if order.crew is None:
        yield Fault("crew_missing", _("nobody is to do this: name a crew"), "/crew")


def handlers(order: WorkOrder, *, on: dt.date) -> list[Worker]:
    """Return who mixes and sprays: those named, else all of the crew who may on that day."""
    named = list(order.handlers.all())
    if named or order.crew is None:
        return named
    return _who_may(crew=order.crew, on=on, also=_tests_wanted(order, on=on))


@remembered
def _who_may(*, crew: Crew, on: dt.date, also: tuple[str, ...]) -> list[Worker]:
    members = crew.members.order_by("id")
    return [one for one in members if crews.may_handle(worker=one, on=on, also=also)]


def faults(order: WorkOrder, *, on: dt.date) -> list[Fault]:
    """Return what is wrong with who is to handle pesticides on a day."""
    if order.crew is None or order.kind not in HANDLED:
        return []
    also = _tests_wanted(order, on=on)
    if order.handlers.all():
        found = list(unqualified(order.handlers.all(), on=on, also=also))
    elif handlers(order, on=on):
        found = []
    else:
        detail = _(
            "nobody of %(crew)s may mix or spray on %(on)s: it takes an adult whose trainings and tests "
            "hold on that day"
        ) % {"crew": order.crew.name, "on": on}
        found = [Fault("crew_not_qualified", detail, "/crew", ("crew", str(order.crew.id)))]
    return [*found, *_licence(order, on=on)]


def unqualified(workers: Iterable[Worker], *, on: dt.date, also: tuple[str, ...] = ()) -> Iterator[Fault]:
    """Yield who may not mix or spray on a day, without saying why: that is between them and the manager."""
    for worker in workers:
        if not crews.may_handle(worker=worker, on=on, also=also):
            detail = _("%(worker)s may not mix or spray on %(on)s: see the worker's qualifications") % {
                "worker": worker.name,
                "on": on,
            }
            yield Fault("worker_not_qualified", detail, refers_to=("worker", str(worker.id)))


def _tests_wanted(order: WorkOrder, *, on: dt.date) -> tuple[str, ...]:
    """Return what else handlers need: a fit test where a label wants a respirator on.

    Source: 40 CFR 170.507(b)(10), US EPA, 2024: a fit test before a handler wears one (yearly by 29 CFR
    1910.134(f)(2), which it refers to).
    """
    return (crews.FIT_TEST,) if wants_fit_test(_labels(order, on=on)) else ()


def wants_fit_test(labels: Iterable[Mapping[str, Any]]) -> bool:
    """Say whether any of some labels has handlers wear a respirator."""
    worn = [(label.get("protection") or {}).get("handler") or [] for label in labels]
    return any("respirator" in str(code) for codes in worn for code in codes)


def wants_licence(labels: Iterable[Mapping[str, Any]]) -> bool:
    """Say whether any of some labels is of restricted use."""
    return any(label.get("restricted_use") for label in labels)


def _licence(order: WorkOrder, *, on: dt.date) -> Iterator[Fault]:
    """Yield that a restricted use has nobody with a licence.

    Source: 40 CFR 171.201(c) and 171.5, US EPA, 2017: applied by a certified applicator or under their
    direct supervision (from memory).
    """
    if order.crew is None or not wants_licence(_labels(order, on=on)):
        return
    named = list(order.handlers.all()) or list(order.crew.members.all())
    if not any(crews.has(worker=one, kind=crews.LICENCE, on=on) for one in named):
        detail = _(
            "a product of restricted use is in the mix, and nobody of this order holds a licence on "
            "%(on)s: name somebody who does"
        ) % {"on": on}
        yield Fault("crew_not_qualified", detail, "/handlers", ("crew", str(order.crew.id)))


def _labels(order: WorkOrder, *, on: dt.date) -> list[Mapping[str, Any]]:
    """Return the labels of what an order sprays, as they are in force on a day."""
    versions = [
        wanted.label or store.label_in_force(product=wanted.product, on=on)
        for wanted in (checks.of_order(order=order) if order.kind == "spray" else [])
    ]
    return [version.label for version in versions if version is not None]
