"""What every row of a farm has: keys, scope, who made it, and the version that its ETag shows."""

from __future__ import annotations

import datetime as dt
import uuid
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Self

from django.db import models
from uuid6 import uuid7

if TYPE_CHECKING:
    from orchard.farms.models import Farm


def new_id() -> uuid.UUID:
    """Return a fresh UUIDv7 (RFC 9562)."""
    return uuid.UUID(int=uuid7().int)


class FarmRows(models.QuerySet):
    """The one place where rows are scoped: a query that starts elsewhere is a mistake."""

    def for_farm(self, farm: Farm) -> Self:
        """Return this farm's rows only."""
        return self.filter(farm=farm)


class FarmRow(models.Model):
    """A row that belongs to one farm.

    `id` is what the world sees and what a phone may make for itself; it is unique within the farm, so
    that the same id in two farms tells neither of the other. `key` is what the database joins on: the
    same UUIDv7, unless another farm took it first. Show a reference as `row.product.id`, never `product_id`.
    """

    append_only = False
    """True where the database refuses update and delete."""
    resource = ""
    """The singular name in the permission table, the audit and the change feed: `work_order`."""
    collection = ""
    """Where its list stands below the farm: `work-orders`."""

    key = models.UUIDField(primary_key=True, default=new_id, editable=False)
    id = models.UUIDField(default=new_id, editable=False)
    farm = models.ForeignKey("farms.Farm", on_delete=models.PROTECT, related_name="+", db_index=False)
    """It has no index of its own: it stands first in that of `id`."""
    created_at = models.DateTimeField()
    updated_at = models.DateTimeField()
    created_by_kind = models.CharField(max_length=10)
    created_by_id = models.UUIDField(null=True)
    created_by_name = models.CharField(max_length=200, blank=True)
    version = models.BigIntegerField(default=1)

    objects = FarmRows.as_manager()

    class Meta:
        abstract = True
        ordering = ("id",)
        constraints = [
            models.UniqueConstraint(
                fields=("farm", "id"), name="%(app_label)s_%(class)s_id_is_unique_in_its_farm"
            ),
        ]

    def __str__(self) -> str:
        return str(getattr(self, "name", None) or self.id)

    @property
    def path(self) -> str:
        """Where the resource is read."""
        return path_of(farm=self.farm_id, collection=self.collection, id=self.id)

    @property
    def etag(self) -> str:
        """The entity tag of this version of the row, with its quotes."""
        return entity_tag(version=self.version, created_at=self.created_at)


def path_of(*, farm: uuid.UUID, collection: str, id: uuid.UUID) -> str:
    """Return where a resource is read."""
    return f"{_collection_of(farm, collection)}/{id}"


@lru_cache(maxsize=1024)
def _collection_of(farm: uuid.UUID, collection: str) -> str:
    return f"/api/v1/farms/{farm}/{collection}"


def entity_tag(*, version: int, created_at: dt.datetime) -> str:
    """Return the entity tag of one version of a row, with its quotes (RFC 9110)."""
    return f'"{version:x}-{created_at.timestamp():.6f}"'


def may_be_archived() -> Any:
    """Return the column of what is put away but still referred to."""
    return models.BooleanField(default=False)
