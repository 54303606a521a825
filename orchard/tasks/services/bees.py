"""Flowers of weeds under the trees: what harms bees waits until they are mown and were looked at again."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from django.utils.translation import gettext as _

import mixing
from mixing import chemistry
from orchard.api.refusals import Fault
from orchard.blocks import queries as blocks
from orchard.tasks.models import MixCheck, WorkOrder
from orchard.tasks.services import checking

BEE_HAZARD = "bee hazard"
SOURCE = {
    "title": "Bee protection",
    "publisher": "Washington State University Tree Fruit, crop protection guide",
    "year": None,
    "where": "cpg.treefruit.wsu.edu/bee-protection/overview: not with any bloom open, weeds too",
}


def weeds_in_bloom(
    order: WorkOrder, *, check: MixCheck, at: dt.datetime, seen_now: bool = False
) -> Iterator[Fault]:
    """Yield the count of open flowers that a mix which harms bees has to wait for.

    :param seen_now: whether flowers are open as it is seen on the spot, whatever was counted before
    """
    if order.block is None:
        return
    seen = blocks.open_flowers(block=order.block, at=at)
    if not seen_now and (seen is None or seen.count == 0):
        return
    counted = None if seen_now or seen is None else seen
    request = mixing.read_request(check.request)
    for product in request.products:
        if BEE_HAZARD in chemistry.groups(product.label):
            on = checking.local_day(order.farm, counted.observed_at if counted else at)
            says = _("%(label)s harms bees, and flowers were open in %(block)s on %(on)s") % {
                "label": product.label.name,
                "block": order.block,
                "on": on,
            }
            finding = {
                "id": "farm.weeds-in-bloom",
                "severity": "stop",
                "basis": "farm",
                "products": [product.id],
                "says": says,
                "why": _("bees go to any open flower"),
                "do": _("mow them, look again, and enter a count of 0"),
                "source": SOURCE,
                "may_be_overridden": False,
            }
            refers = ("scouting_count", str(counted.id)) if counted else None
            yield Fault("mix_stop", says, "", refers, finding=finding)
