"""What the storekeeper keeps beside the ledger: papers of products, places, counts, containers, imports."""

from __future__ import annotations

from django.db import models

from orchard.farms.columns import BaseAmount, QuantityColumn
from orchard.farms.rows import FarmRow, may_be_archived, new_id

DOCUMENTS = ("label", "safety_sheet", "other")
KEPT_BESIDE = ("food", "feed", "seed", "fertiliser", "protective_equipment", "fuel", "medicine")
CONTAINER_KINDS = ("issued", "brought_back", "rinsed", "disposed")
RINSES = ("triple", "pressure")
DISPOSALS = ("recycled", "returned_to_supplier", "household_waste", "hazardous_waste", "other")
IMPORTS = ("products", "lots", "opening_balances")


class ProductDocument(FarmRow):
    """A paper of a product as it was read: known by the SHA-256 of its bytes, so that a change is seen."""

    resource = "product_document"
    collection = "documents"

    append_only = True

    product = models.ForeignKey("inventory.Product", on_delete=models.PROTECT, related_name="documents")
    label = models.ForeignKey(
        "inventory.LabelVersion", null=True, on_delete=models.PROTECT, related_name="documents"
    )
    kind = models.CharField(max_length=20)
    name = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64)
    media_type = models.CharField(max_length=100, null=True)
    size = models.PositiveIntegerField(null=True)
    """Bytes; null where the paper itself is kept elsewhere."""
    address = models.CharField(max_length=1000, null=True)
    language = models.CharField(max_length=10, null=True)

    class Meta(FarmRow.Meta):
        constraints = [
            *FarmRow.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(kind__in=DOCUMENTS), name="a_document_is_of_a_known_kind"
            ),
            models.CheckConstraint(
                condition=models.Q(sha256__regex=r"^[0-9a-f]{64}$"), name="a_document_is_known_by_its_hash"
            ),
        ]

    @property
    def path(self) -> str:
        """Where it is read, below its product."""
        return f"{self.product.path}/{self.collection}/{self.id}"


class DocumentContent(models.Model):
    """The bytes of a document, apart from its row so that lists stay light."""

    append_only = True

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    document = models.OneToOneField(ProductDocument, on_delete=models.PROTECT, related_name="content")
    content = models.BinaryField()

    def __str__(self) -> str:
        return f"{len(self.content)} bytes"


class StorePlace(FarmRow):
    """A place of the store, by the name that lots say as their location; what it is like, where known."""

    resource = "store_place"
    collection = "store-places"

    name = models.CharField(max_length=200)
    cabinet = models.CharField(max_length=200, null=True)
    """Places of one cabinet stand above each other, by `level`."""
    level = models.PositiveSmallIntegerField(null=True)
    locked = models.BooleanField(null=True)
    ventilated = models.BooleanField(null=True)
    signed = models.BooleanField(null=True)
    bund = QuantityColumn(null=True)
    temperature_minimum = QuantityColumn(null=True)
    temperature_maximum = QuantityColumn(null=True)
    kept_beside = models.JSONField(default=list)
    archived = may_be_archived()

    class Meta(FarmRow.Meta):
        constraints = [
            *FarmRow.Meta.constraints,
            models.UniqueConstraint(fields=("farm", "name"), name="a_place_of_the_store_has_its_own_name"),
            models.CheckConstraint(
                condition=models.Q(level=None) | models.Q(cabinet__isnull=False),
                name="a_level_is_one_of_a_cabinet",
            ),
        ]


class ShelfCount(FarmRow):
    """One count of one lot as somebody said it at the shelf; the last by its moment is what counts."""

    resource = "shelf_count"
    collection = "counts"

    append_only = True

    stocktake = models.ForeignKey(
        "inventory.Stocktake", on_delete=models.PROTECT, related_name="shelf_counts"
    )
    lot = models.ForeignKey("inventory.Lot", on_delete=models.PROTECT, related_name="+")
    counted = QuantityColumn()
    counted_base = BaseAmount()
    counted_at = models.DateTimeField()
    note = models.TextField(null=True)

    class Meta(FarmRow.Meta):
        constraints = [
            *FarmRow.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(counted_base__gte=0), name="a_shelf_holds_no_less_than_nothing"
            ),
        ]

    @property
    def path(self) -> str:
        """Where it is read, below its stocktake."""
        return f"{self.stocktake.path}/{self.collection}/{self.id}"


class ContainerRecord(FarmRow):
    """What became of jugs and bags: given out, brought back, rinsed, gone. Only a rinsed one is empty."""

    resource = "container_record"
    collection = "container-records"

    append_only = True

    product = models.ForeignKey("inventory.Product", on_delete=models.PROTECT, related_name="+")
    lot = models.ForeignKey("inventory.Lot", null=True, on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=15)
    count = models.PositiveIntegerField()
    rinse = models.CharField(max_length=10, null=True)
    water = QuantityColumn(null=True)
    disposal = models.CharField(max_length=25, null=True)
    taken_by = models.CharField(max_length=200, null=True)
    work_order = models.UUIDField(null=True)
    load = models.UUIDField(null=True)
    emptied_at = models.DateTimeField(null=True)
    at = models.DateTimeField()
    note = models.TextField(null=True)

    class Meta(FarmRow.Meta):
        constraints = [
            *FarmRow.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(kind__in=CONTAINER_KINDS),
                name="a_container_record_is_of_a_known_kind",
            ),
            models.CheckConstraint(
                condition=models.Q(count__gte=1), name="a_container_record_is_of_one_or_more"
            ),
            models.CheckConstraint(
                condition=models.Q(kind="rinsed", rinse__in=RINSES)
                | (~models.Q(kind="rinsed") & models.Q(rinse=None)),
                name="a_rinse_says_how",
            ),
            models.CheckConstraint(
                condition=models.Q(kind="disposed", disposal__in=DISPOSALS)
                | (~models.Q(kind="disposed") & models.Q(disposal=None)),
                name="a_disposal_says_how",
            ),
        ]


class StockImport(FarmRow):
    """A file of the storekeeper's that was taken in whole."""

    resource = "stock_import"
    collection = "imports"

    append_only = True

    kind = models.CharField(max_length=20)
    sha256 = models.CharField(max_length=64)
    rows = models.PositiveIntegerField()
    made = models.JSONField(default=list)
    """Ids of what was made, in the order of the file's rows."""

    class Meta(FarmRow.Meta):
        constraints = [
            *FarmRow.Meta.constraints,
            models.CheckConstraint(condition=models.Q(kind__in=IMPORTS), name="an_import_is_of_a_known_kind"),
        ]
