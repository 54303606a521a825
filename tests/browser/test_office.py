"""The office pages in a real browser: read aloud, on a narrow phone and on a desk."""

import datetime as dt

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone

from orchard.blocks import services as block_services
from orchard.blocks.models import StageForecast
from orchard.farms import journal
from orchard.farms.actors import SYSTEM
from orchard.inventory.models import Product
from orchard.tasks.models import WorkOrder
from tests.browser.orchards import PASSWORD, given, somebody, spray_day
from tests.browser.test_for_everybody import SIZES, TOO_SMALL
from tests.factories import FarmFactory, amount
from tests.tasks.lowbell import draft
from tests.web.people import member

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.xdist_group("browser")]
PAGES = ("season", "plan", "mix", "store", "people", "records", "first-steps")


def a_season(farm):
    """Fill the chart: an order given out, a draft, a stage that is expected, two days of weather ahead."""
    given(farm)
    start = timezone.now().replace(minute=0, second=0, microsecond=0)
    hours = [
        {
            "at": start + dt.timedelta(hours=hour),
            "kind": "forecast",
            "temperature": amount("50", "degF"),
            "wind": amount("15" if hour % 5 == 0 else "5", "mph"),
            "rain": amount("0", "mm"),
        }
        for hour in range(48)
    ]
    block_services.store_hours(farm=farm.farm, station="", rows=hours, now=start - dt.timedelta(days=2))
    draft(farm)
    ahead = timezone.now().date() + dt.timedelta(days=20)
    low, high = ahead - dt.timedelta(days=5), ahead + dt.timedelta(days=6)
    odds = {"predicted": ahead, "low80": low, "high80": high, "issued_on": timezone.now().date()}
    event = {"event": "first_bloom", "bbch": 60, "model": "by hand", "block": farm.a2}
    journal.insert(StageForecast, farm=farm.farm, by=SYSTEM, now=farm.now, **event, **odds)


def visits(phone, farm, person):
    """Go through every office page, and those that a form leads to; yield their names."""
    phone.sign_in(person, PASSWORD)
    for name in PAGES:
        phone.go(f"/farms/{farm.farm.id}/{name}")
        yield name
    phone.go(f"/farms/{farm.farm.id}/season/{farm.a2.id}")
    yield "block"
    order = WorkOrder.objects.for_farm(farm.farm).filter(status="draft").first()
    phone.go(f"/farms/{farm.farm.id}/plan/{order.id}/hours")
    yield "hours"
    page = phone.go(f"/farms/{farm.farm.id}/mix")
    copper = Product.objects.for_farm(farm.farm).order_by("created_at").first()
    page.select_option('[name="block"]', str(farm.a2.id))
    page.select_option('[name="sprayer"]', str(farm.backpack.id))
    page.fill('[name="spray.total.value"]', "8")
    page.select_option('[name="products.0.product"]', str(copper.id))
    page.fill('[name="products.0.rate.value"]', "1,5")
    page.click("form button.next")
    page.wait_for_selector(".error")
    yield "mix-with-a-fault"
    page.fill('[name="products.0.rate.value"]', "1.5")
    page.fill('[name="stage.bbch:int"]', "65")
    page.click("form button.next")
    page.wait_for_selector("#verdict")
    yield "mix-checked"
    empty = FarmFactory()
    one = member(empty, "owner")
    one.person = person
    one.save()
    phone.go(f"/farms/{empty.id}/first-steps")
    yield "an-empty-farm"


@pytest.mark.parametrize("language", ["en", "es"])
def test_no_office_page_has_a_finding_of_axe_or_runs_over_the_edge(phone, language):
    farm = spray_day()
    a_season(farm)
    manager = somebody(farm, role="manager", worker=None, language=language)

    faults = {}
    for name in visits(phone, farm, manager):
        found = [one["id"] for one in Axe().run(phone.page).response["violations"]]
        for size in SIZES:
            phone.page.set_viewport_size(size)
            if phone.page.evaluate("document.documentElement.scrollWidth") > size["width"]:
                found.append(f"wider than {size['width']}")
            found += phone.page.evaluate(TOO_SMALL)
        if found:
            faults[name] = found

    assert faults == {}
    assert [one for one in phone.faults_of_script() if "422" not in one] == []
