"""Orders that are finished at the same moment take from the same lots, and nobody waits in a circle."""

from __future__ import annotations

import pytest
from django.db import transaction
from django.utils import timezone

from orchard.farms.actors import SYSTEM
from orchard.inventory.models import Movement
from orchard.tasks.services import loads
from tests.factories import FarmFactory
from tests.inventory.store import at_once, copper, lot
from tests.scheduling.loads import order_on, told


@pytest.mark.django_db(transaction=True)
def test_loads_of_two_orders_that_name_the_same_lots_crosswise_do_not_deadlock():
    farm = FarmFactory()
    product = copper(farm)
    first, second = (lot(product, "20", number=number) for number in ("C-1", "C-2"))
    there, back = order_on(farm), order_on(farm)
    for order, lots in ((there, (first, second)), (back, (second, first))):
        for held in lots:
            told(held, order=order, pounds="1")

    def deduct(order):
        with transaction.atomic():
            return loads.deduct_loads(order=order, by=SYSTEM, now=timezone.now())

    answers = at_once(*[lambda: deduct(there), lambda: deduct(back)] * 2)

    assert [type(answer) for answer in answers] == [list] * 4
    assert Movement.objects.filter(kind="use").count() == 4
