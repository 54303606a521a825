"""The work of `tests.bench.drafts`: by our service, and by COPY."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

from django.db import connection, models, transaction
from django.utils import timezone
from psycopg import sql

from mixing.quantities import Quantity
from orchard.config import preparation
from orchard.farms import bulk
from orchard.farms.actors import SYSTEM
from orchard.farms.models import AuditEntry, Change
from orchard.tasks import checks
from orchard.tasks.models import WorkOrder
from orchard.tasks.services import orders
from tests.factories import BlockFactory, CrewFactory, FarmFactory, SprayerFactory, WorkerFactory, amount
from tests.tasks.test_mix_checks import COPPER_LABEL, product_with

Work = Callable[[], None]


def prepare(count: int) -> tuple[Work, Work]:
    """Make a farm; return what writes so many drafts our way, and what copies the same rows."""
    preparation.prepare()
    drafts = _drafts(count)
    farm = drafts[0].values["block"].farm

    def ours() -> None:
        with transaction.atomic():
            orders.add_orders(farm=farm, drafts=drafts, by=SYSTEM, now=timezone.now())
            connection.check_constraints()  # what a commit would look up
            transaction.set_rollback(True)

    with transaction.atomic():
        orders.add_orders(farm=farm, drafts=drafts, by=SYSTEM, now=timezone.now())
        ready = [_ready(model) for model in (WorkOrder, AuditEntry, Change)]
        transaction.set_rollback(True)
    return ours, lambda: _copy(ready)


def _drafts(count: int) -> list[orders.Draft]:
    farm = FarmFactory()
    block = BlockFactory(farm=farm, area=amount("1", "acre"), trees=140)
    crew = CrewFactory(farm=farm, members=[WorkerFactory(farm=farm)])
    sprayer = SprayerFactory(farm=farm)
    copper = product_with(farm, COPPER_LABEL)
    rate, spray = amount("1", "oz_wt/gal"), {"volume_per_tree": {"value": "1.4", "unit": "gal"}}
    now = timezone.now()
    check = checks.check_mix(
        farm=farm,
        block=block,
        sprayer=sprayer,
        products=[checks.Wanted(copper, _json(rate))],
        spray=spray,
        by=SYSTEM,
        now=now,
        dry_run=True,
    )
    values = {
        "kind": "spray",
        "block": block,
        "crew": crew,
        "sprayer": sprayer,
        "products": [{"product": str(copper.id), "rate": _json(rate)}],
        "spray": spray,
        "targets": ["leaf curl"],
    }
    return [
        orders.Draft({**values, "starts_at": now + dt.timedelta(hours=place)}, check.report)
        for place in range(count)
    ]


def _json(quantity: Quantity) -> dict[str, str]:
    return quantity.as_json()


Ready = tuple[str, list[str], list[tuple[object, ...]]]


def _ready(model: type[models.Model]) -> Ready:
    """Return the table, the columns and the rows of a model, as text that COPY takes."""
    fields = [field for field in model._meta.concrete_fields if not bulk.by_database(field)]
    names = [str(field.column) for field in fields]
    with connection.cursor() as cursor:
        columns = sql.SQL(", ").join(sql.SQL("{}::text").format(sql.Identifier(name)) for name in names)
        table = sql.Identifier(model._meta.db_table)
        cursor.execute(sql.SQL("SELECT {} FROM {}").format(columns, table))
        return model._meta.db_table, names, list(cursor.fetchall())


def _copy(ready: list[Ready]) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        for table, names, rows in ready:
            here = sql.Identifier(f"bench_{table}")
            like = sql.SQL("CREATE TEMPORARY TABLE {} (LIKE {} INCLUDING ALL) ON COMMIT DROP")
            cursor.execute(like.format(here, sql.Identifier(table)))
            columns = sql.SQL(", ").join(map(sql.Identifier, names))
            with cursor.copy(sql.SQL("COPY {} ({}) FROM STDIN").format(here, columns)) as stream:
                for row in rows:
                    stream.write_row(row)
        transaction.set_rollback(True)
