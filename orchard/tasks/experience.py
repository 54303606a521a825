"""What a farm has seen of a pair of products itself: a jar test that failed, leaves that were burnt."""

from __future__ import annotations

from django.db import models

from orchard.farms.rows import FarmRow
from orchard.inventory.models import Product
from orchard.inventory.shelf_models import ProductDocument

SEEN_IN = ("jar_test", "spray", "advice")
JUDGED = ("stop", "caution", "note")


class PairNote(FarmRow):
    """A pair as this farm knows it. It tightens mix checks and never loosens one; only an owner lifts it."""

    resource = "pair_note"
    collection = "pair-notes"

    first = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="+")
    second = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="+")
    seen_in = models.CharField(max_length=10)
    judged = models.CharField(max_length=10)
    seen = models.TextField()
    seen_on = models.DateField()
    photo = models.ForeignKey(ProductDocument, null=True, on_delete=models.PROTECT, related_name="+")
    lifted_at = models.DateTimeField(null=True)
    lifted_because = models.TextField(null=True)

    class Meta(FarmRow.Meta):
        constraints = [
            *FarmRow.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(judged__in=JUDGED), name="a_pair_note_judges_as_a_check_does"
            ),
            models.CheckConstraint(
                condition=~models.Q(first=models.F("second")), name="a_pair_note_is_of_two_products"
            ),
            models.CheckConstraint(
                condition=models.Q(lifted_at=None) | ~models.Q(lifted_because=None),
                name="a_lifted_pair_note_says_why",
            ),
        ]
