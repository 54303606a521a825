"""Two phones at once: the database lets one through, and the other finds it done."""

import pytest
from django.utils import timezone
from uuid6 import uuid7

from orchard.farms.models import OutboxEvent
from orchard.inventory.models import Movement
from orchard.tasks.models import ApplicationRecord, Load
from tests.callers import Caller
from tests.inventory.store import at_once
from tests.tasks.lowbell import lowbell, mix, on_hand, under_way

pytestmark = pytest.mark.django_db(transaction=True)


def test_one_load_from_two_phones_is_one_load_and_one_deduction():
    farm = lowbell(now=timezone.now())
    order = under_way(farm)
    sent = {
        "id": str(uuid7()),
        "number": 1,
        "spray": {"value": "50", "unit": "gal"},
        "products": [{"product": str(farm.copper.id)}],
    }
    phones = [Caller(farm.farm, "crew_lead") for _ in range(4)]

    answers = at_once(
        *(
            lambda phone=phone: phone.act(f"work-orders/{order.id}", "record_load", sent, if_match="*")
            for phone in phones
        )
    )

    assert [answer.status_code for answer in answers] == [200] * 4
    assert Load.objects.count() == 1
    assert OutboxEvent.objects.filter(kind="load.recorded").count() == 1


def test_two_finishes_at_once_are_one_record_and_one_claim():
    farm = lowbell(now=timezone.now())
    order = mix(farm, under_way(farm), 1, "50")
    phones = [Caller(farm.farm, "crew_lead") for _ in range(2)]
    said = [{"id": str(uuid7()), "nothing_unusual": True} for _ in phones]

    answers = at_once(
        *(
            lambda phone=phone, body=body: phone.act(f"work-orders/{order.id}", "finish", body, if_match="*")
            for phone, body in zip(phones, said, strict=True)
        )
    )

    assert sorted(answer.status_code for answer in answers) == [200, 409]
    assert ApplicationRecord.objects.count() == 1
    assert Movement.objects.filter(kind="use").count() == 1
    assert on_hand(farm.first_lot) == "6.375"
    order.refresh_from_db()
    assert len(order.possible_duplicates) == 1
