"""What the people of the demonstration do to work orders, each through the service that the API calls."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable, Mapping
from typing import Any

from django.db import transaction

from mixing.quantities import Quantity
from orchard.api.refusals import Refusal
from orchard.crews.models import Sprayer
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.inventory.models import Product
from orchard.tasks import queries
from orchard.tasks.models import WorkOrder
from orchard.tasks.services import finish, issue, loads, orders, starting
from orchard.tasks.services.finish import Leftover
from scheduling.season.farm import SeasonFarm, quantity, written


def act(
    made: SeasonFarm,
    order: WorkOrder,
    action: Callable[..., WorkOrder],
    *,
    by: Actor,
    now: dt.datetime,
    **said: Any,
) -> WorkOrder:
    """Do one action on an order under its lock; a refusal is kept in the audit trail and goes on up.

    :raises Refusal: as the action does
    """
    try:
        with transaction.atomic():
            locked = queries.locked_order(farm=made.farm, id=order.id)
            assert locked is not None
            return action(order=locked, by=by, now=now, **said)
    except Refusal as refused:
        journal.refused(
            made.farm,
            by=by,
            now=now,
            action=action.__name__,
            resource="work_order",
            resource_id=order.id,
            codes=[fault.code for fault in refused.faults],
        )
        raise


def draft(
    made: SeasonFarm,
    *,
    line: Mapping[str, Any],
    block: str,
    starts_at: dt.datetime,
    programme: Any,
    now: dt.datetime,
) -> WorkOrder:
    """Make the draft of one spray of the programme on one block."""
    row = block_row(block)
    return orders.add_order(
        farm=made.farm,
        kind="spray",
        title=f"{line['title']}, {block}",
        block=made.blocks[block],
        sprayer=made.sprayers[row["sprayer"]],
        crew=made.crew,
        starts_at=starts_at,
        programme=programme,
        line=uuid.UUID(line["id"]),
        products=line["products"],
        spray={"volume_per_tree": row["volume_per_tree"]},
        targets=line["targets"],
        water=dict(written()["water"]),
        by=made.manager,
        now=now,
    )


def block_row(name: str) -> Mapping[str, Any]:
    """Return what `farm.toml` says of a block."""
    return next(row for row in written()["block"] if row["name"] == name)


def give_out(made: SeasonFarm, order: WorkOrder, *, now: dt.datetime) -> WorkOrder:
    """Issue an order, and let the crew's lead take it on.

    :raises Refusal: as `issue` does
    """
    order = act(made, order, issue.issue, by=made.manager, now=now)
    return act(made, order, issue.accept, by=made.lead, now=now, revision=order.revision)


def put_off(made: SeasonFarm, order: WorkOrder, *, reason: str, note: str, now: dt.datetime) -> WorkOrder:
    """Hold an order."""
    return act(made, order, issue.hold, by=made.lead, now=now, reason=reason, note=note)


def take_up(made: SeasonFarm, order: WorkOrder, *, starts_at: dt.datetime, now: dt.datetime) -> WorkOrder:
    """Bring a held order to another day: a new revision, which the lead takes on anew."""
    order = act(made, order, issue.resume, by=made.lead, now=now)
    order = act(made, order, orders.change_order, by=made.manager, now=now, starts_at=starts_at)
    return act(made, order, issue.accept, by=made.lead, now=now, revision=order.revision)


def move(made: SeasonFarm, order: WorkOrder, *, starts_at: dt.datetime, now: dt.datetime) -> WorkOrder:
    """Put a draft on another day."""
    return act(made, order, orders.change_order, by=made.manager, now=now, starts_at=starts_at)


def call_off(made: SeasonFarm, order: WorkOrder, *, reason: str, now: dt.datetime) -> WorkOrder:
    """Cancel an order."""
    return act(made, order, issue.cancel, by=made.manager, now=now, reason=reason)


def begin(made: SeasonFarm, order: WorkOrder, *, observed: Mapping[str, Any], now: dt.datetime) -> WorkOrder:
    """Start on the spot.

    :raises Refusal: for what the limits say to what was observed
    """
    return act(made, order, starting.start, by=made.lead, now=now, observed=observed)


def mix_load(made: SeasonFarm, order: WorkOrder, *, load: Mapping[str, Any], now: dt.datetime) -> WorkOrder:
    """Record one load as it was planned, from the lots that are reserved."""
    products = [{"product": product_of(made, one["id"])} for one in load["products"]]
    return act(
        made,
        order,
        loads.record_load,
        by=made.lead,
        now=now,
        number=load["number"],
        spray=quantity(load["spray"]),
        products=products,
        mixed_by=made.workers[block_row(str(order.block))["mixer"]],
    )


def end(
    made: SeasonFarm,
    order: WorkOrder,
    *,
    now: dt.datetime,
    id: uuid.UUID | None = None,
    leftover: Leftover | None = None,
    sprayed: Quantity | None = None,
) -> WorkOrder:
    """End the work with nothing unusual to tell.

    :raises Refusal: as `finish` does
    """
    said = {"nothing_unusual": True, "leftover": leftover, "sprayed": sprayed}
    return act(made, order, finish.finish, by=made.lead, now=now, id=id, **said)


def wash(made: SeasonFarm, sprayer: Sprayer, *, now: dt.datetime) -> WorkOrder:
    """Wash a sprayer by the order that was drafted for it at the end of the spray, or by one of its own."""
    drafted = queries.work_orders(
        farm=made.farm, kind="equipment_wash", sprayer=sprayer, status="draft"
    ).first()
    order = drafted or orders.add_order(
        farm=made.farm,
        kind="equipment_wash",
        sprayer=sprayer,
        crew=made.crew,
        starts_at=now,
        by=made.manager,
        now=now,
    )
    order = give_out(made, order, now=now)
    order = act(made, order, starting.start, by=made.lead, now=now, observed={})
    return act(made, order, finish.finish, by=made.lead, now=now + dt.timedelta(minutes=30))


def product_of(made: SeasonFarm, id: str) -> Product:
    """Return the product with that id."""
    return next(product for product in made.products.values() if str(product.id) == id)
