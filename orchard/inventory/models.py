"""The store: products and their labels, lots, the ledger of movements, and what is promised to whom."""

from __future__ import annotations

from django.contrib.postgres.fields import ArrayField
from django.db import models

from orchard.farms.columns import BaseAmount, QuantityColumn
from orchard.farms.rows import FarmRow, may_be_archived, new_id
from orchard.inventory.shelf_models import ContainerRecord as ContainerRecord
from orchard.inventory.shelf_models import DocumentContent as DocumentContent
from orchard.inventory.shelf_models import ProductDocument as ProductDocument
from orchard.inventory.shelf_models import ShelfCount as ShelfCount
from orchard.inventory.shelf_models import StockImport as StockImport
from orchard.inventory.shelf_models import StorePlace as StorePlace

LABEL_STATUSES = ("proposed", "approved", "withdrawn")
CONDITIONS = ("good", "frozen", "caked", "separated", "leaking", "unlabelled", "recalled")
MOVEMENTS = ("receive", "use", "return", "transfer", "adjust", "dispose", "reverse")


class Product(FarmRow):
    """Something that is bought, kept and used, shown in one unit of stock."""

    resource = "product"
    collection = "products"

    name = models.CharField(max_length=200)
    stock_unit = models.CharField(max_length=20)
    base_unit = models.CharField(max_length=5)
    """`g`, `mL` or `count`: what the ledger of its lots is kept in."""
    gtins = ArrayField(models.CharField(max_length=14), default=list)
    lead_time = QuantityColumn(null=True)
    container = QuantityColumn(null=True)
    """What one whole container of it holds: purchases are made in whole ones."""
    safety_stock = QuantityColumn(null=True)
    store_minimum = QuantityColumn(null=True)
    store_maximum = QuantityColumn(null=True)
    """The temperatures that the label wants it kept between; unknown where null."""
    archived = may_be_archived()

    class Meta(FarmRow.Meta):
        constraints = [
            *FarmRow.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(base_unit__in=["g", "mL", "count"]),
                name="a_product_is_kept_in_g_ml_or_count",
            ),
        ]


class LabelVersion(FarmRow):
    """A label as it is in force from a day; never changed, a later one takes over.

    Only what was decided about it changes: a proposed one is not in force before a manager approves it.
    """

    resource = "label_version"
    collection = "labels"

    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="labels")
    label = models.JSONField()
    effective_from = models.DateField()
    effective_until = models.DateField(null=True)
    status = models.CharField(max_length=10, default="approved")
    decided_at = models.DateTimeField(null=True)
    decided_by = models.CharField(max_length=200, null=True)
    decision_reason = models.TextField(null=True)

    class Meta(FarmRow.Meta):
        indexes = [
            models.Index(fields=("product", "-effective_from", "-created_at"), name="labels_latest_first")
        ]
        constraints = [
            *FarmRow.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(effective_until=None)
                | models.Q(effective_until__gte=models.F("effective_from")),
                name="a_label_ends_after_it_begins",
            ),
            models.CheckConstraint(
                condition=models.Q(status__in=LABEL_STATUSES), name="a_label_has_a_known_status"
            ),
            models.CheckConstraint(
                condition=~models.Q(status="withdrawn") | models.Q(decision_reason__isnull=False),
                name="a_withdrawn_label_says_why",
            ),
            models.UniqueConstraint(
                fields=("product", "effective_from"),
                condition=models.Q(status="approved"),
                name="a_product_has_one_approved_label_from_a_day",
            ),
        ]

    @property
    def path(self) -> str:
        """Where it is read, below its product."""
        return f"{self.product.path}/{self.collection}/{self.id}"


class Lot(FarmRow):
    """One batch of a product at one place. The sums beside it are kept in the ledger's transactions."""

    resource = "lot"
    collection = "lots"

    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="lots")
    number = models.CharField(max_length=20)
    expires_on = models.DateField(null=True)
    made_on = models.DateField(null=True)
    location = models.CharField(max_length=200, default="", blank=True)
    supplier = models.CharField(max_length=200, null=True)
    quarantined = models.BooleanField(default=False)
    quarantine_reason = models.TextField(null=True)
    gs1 = models.CharField(max_length=200, null=True)
    opened_on = models.DateField(null=True)
    condition = models.CharField(max_length=12, default="good")
    price = models.JSONField(null=True)
    """`{"amount": "42.50", "currency": "USD", "per": {"value": "2.5", "unit": "gal"}}`."""
    archived = may_be_archived()
    on_hand_base = BaseAmount(default=0)
    reserved_base = BaseAmount(default=0)
    chain_length = models.PositiveBigIntegerField(default=0)
    chain_head = models.CharField(max_length=70, default="", blank=True)
    """How many lines its ledger has, and the hash of the last: see `chain`."""

    class Meta(FarmRow.Meta):
        constraints = [
            *FarmRow.Meta.constraints,
            models.UniqueConstraint(
                fields=("farm", "product", "number", "location"), name="a_lot_is_at_a_place_once"
            ),
            models.CheckConstraint(
                condition=models.Q(on_hand_base__gte=0), name="a_lot_never_holds_less_than_nothing"
            ),
            models.CheckConstraint(
                condition=models.Q(reserved_base__gte=0), name="a_lot_never_owes_less_than_nothing"
            ),
            models.CheckConstraint(
                condition=models.Q(quarantined=False) | models.Q(quarantine_reason__isnull=False),
                name="a_quarantined_lot_says_why",
            ),
            models.CheckConstraint(
                condition=models.Q(condition__in=CONDITIONS), name="a_lot_is_in_a_known_condition"
            ),
        ]


class Movement(FarmRow):
    """One line of the ledger. The database refuses to change or delete it: a mistake is reversed.

    `effect` is what an event may cause only once (a load and its lot), known here as text only. `position` is
    its place in the lot's ledger and `hash` ties it to the line before: see `chain`.
    """

    resource = "stock_movement"
    collection = "stock-movements"

    append_only = True

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="movements", db_index=False)
    """It has no index of its own: it stands first in that of `position`."""
    kind = models.CharField(max_length=10)
    quantity = QuantityColumn()
    change_base = BaseAmount()
    balance_after_base = BaseAmount()
    position = models.PositiveBigIntegerField()
    hash = models.CharField(max_length=70)
    reason = models.TextField(default="", blank=True)
    reference = models.CharField(max_length=200, null=True)
    at = models.DateTimeField()
    reverses = models.OneToOneField("self", null=True, on_delete=models.PROTECT, related_name="reversed_by")
    other_lot = models.ForeignKey(Lot, null=True, on_delete=models.PROTECT, related_name="+")
    work_order = models.UUIDField(null=True)
    load = models.UUIDField(null=True)
    effect = models.CharField(max_length=120, null=True)

    class Meta(FarmRow.Meta):
        indexes = [
            models.Index(
                fields=("load",), condition=models.Q(load__isnull=False), name="movements_of_a_load"
            ),
            models.Index(
                fields=("work_order",),
                condition=models.Q(work_order__isnull=False),
                name="movements_of_an_order",
            ),
        ]
        constraints = [
            *FarmRow.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(kind__in=MOVEMENTS), name="a_movement_is_of_a_known_kind"
            ),
            models.CheckConstraint(
                condition=models.Q(balance_after_base__gte=0), name="no_movement_leaves_less_than_nothing"
            ),
            models.CheckConstraint(
                condition=models.Q(kind__in=["adjust", "transfer", "reverse"])
                | models.Q(kind__in=["receive", "return"], change_base__gt=0)
                | models.Q(kind__in=["use", "dispose"], change_base__lt=0),
                name="a_movement_goes_the_way_its_kind_says",
            ),
            models.CheckConstraint(
                condition=models.Q(kind="reverse", reverses__isnull=False)
                | (~models.Q(kind="reverse") & models.Q(reverses=None)),
                name="only_a_reversal_names_what_it_reverses",
            ),
            models.UniqueConstraint(fields=("farm", "effect"), name="an_effect_happens_once"),
            models.UniqueConstraint(fields=("lot", "position"), name="a_line_has_its_own_place_in_a_ledger"),
        ]


class Reservation(FarmRow):
    """Product of a lot that is promised to a work order, until it is used or released."""

    resource = "reservation"
    collection = "reservations"

    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="reservations")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="reservations")
    work_order = models.UUIDField()
    quantity = QuantityColumn()
    """What was promised, in the product's stock unit."""
    quantity_base = BaseAmount()
    open_base = BaseAmount()
    """What of it is still promised; the sum over a lot's open rows is the lot's `reserved_base`."""
    status = models.CharField(max_length=10, default="open")

    class Meta(FarmRow.Meta):
        indexes = [models.Index(fields=("farm", "work_order"), name="reservations_of_an_order")]
        constraints = [
            *FarmRow.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(status__in=["open", "used", "released"]),
                name="a_reservation_has_a_known_status",
            ),
            models.CheckConstraint(
                condition=models.Q(open_base__gte=0, open_base__lte=models.F("quantity_base")),
                name="a_reservation_owes_no_more_than_was_promised",
            ),
            models.CheckConstraint(
                condition=models.Q(status="open") | models.Q(open_base=0),
                name="what_is_used_or_released_owes_nothing",
            ),
        ]


class Shortage(FarmRow):
    """A question for the storekeeper: a load, or a record, used more than the book held."""

    resource = "shortage"
    collection = "shortages"

    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="shortages")
    lot = models.ForeignKey(Lot, null=True, on_delete=models.PROTECT, related_name="shortages")
    work_order = models.UUIDField()
    load = models.UUIDField()
    missing = QuantityColumn()
    missing_base = BaseAmount()
    answered_at = models.DateTimeField(null=True)
    answer = models.TextField(null=True)
    effect = models.CharField(max_length=120)

    class Meta(FarmRow.Meta):
        indexes = [models.Index(fields=("load",), name="shortages_of_a_load")]
        constraints = [
            *FarmRow.Meta.constraints,
            models.UniqueConstraint(fields=("farm", "effect"), name="a_shortage_is_asked_about_once"),
        ]


class Stocktake(FarmRow):
    """A count of what is on the shelf at a moment, to be set against the book of that moment."""

    resource = "stocktake"
    collection = "stocktakes"

    status = models.CharField(max_length=10, default="open")
    counted_at = models.DateTimeField()
    location = models.CharField(max_length=200, null=True)
    note = models.TextField(null=True)
    blind = models.BooleanField(default=False)
    revealed_at = models.DateTimeField(null=True)
    """When the counting of a blind one ended and the book was shown."""
    counts = models.JSONField(default=list)
    """As they were said, so that the audit shows what was changed; what counts are the `lines`."""

    class Meta(FarmRow.Meta):
        constraints = [
            *FarmRow.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(status__in=["open", "posted", "cancelled"]),
                name="a_stocktake_has_a_known_status",
            ),
        ]


class StocktakeCount(models.Model):
    """One lot of a stocktake. Book and uses are kept when it is closed; until then they are worked out."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    stocktake = models.ForeignKey(Stocktake, on_delete=models.PROTECT, related_name="lines")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="counts")
    place = models.PositiveIntegerField()
    counted_at = models.DateTimeField(null=True)
    """The moment whose book it is set against, as a phone told it; null: the stocktake's."""
    counted = QuantityColumn()
    counted_base = BaseAmount()
    one_base = BaseAmount()
    """What one of the counted unit is in the ledger's unit, by the label of the day."""
    book_base = BaseAmount(null=True)
    uses_since_last_count = models.PositiveIntegerField(null=True)
    reason = models.TextField(null=True)
    movement = models.OneToOneField(Movement, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ("stocktake", "place")
        constraints = [
            models.UniqueConstraint(fields=("stocktake", "lot"), name="a_stocktake_counts_a_lot_once"),
            models.CheckConstraint(
                condition=models.Q(counted_base__gte=0, one_base__gt=0),
                name="nobody_counts_less_than_nothing",
            ),
            models.CheckConstraint(
                condition=models.Q(book_base=None, uses_since_last_count=None)
                | models.Q(book_base__isnull=False, uses_since_last_count__isnull=False),
                name="a_closed_count_keeps_book_and_uses",
            ),
            models.CheckConstraint(
                condition=models.Q(movement=None) | models.Q(book_base__isnull=False, reason__isnull=False),
                name="what_a_count_adjusts_says_why",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.counted.value} {self.counted.unit}"
