"""Every page there is, in both languages: read aloud, on a narrow phone and on a desk."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe

from orchard.farms.models import Membership
from tests.browser.orchards import PASSWORD
from tests.factories import MembershipFactory
from tests.web import every_page
from tests.web.plenty import plenty

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.xdist_group("browser")]
NARROW, DESK = {"width": 320, "height": 640}, {"width": 1280, "height": 900}
TARGETS = "a.next, a.card, .bar a, button, input, select, textarea, summary, label.tick"
TOO_SMALL = f"""[...document.querySelectorAll("{TARGETS}")]
  .filter((one) => one.checkVisibility() && !["hidden", "checkbox"].includes(one.type))
  .filter((one) => one.getBoundingClientRect().height < 44).map((one) => one.outerHTML)"""
TOO_WIDE = """[document.documentElement.scrollWidth].filter((wide) => wide > innerWidth)"""


def findings(page, size):
    """Return what axe finds at a size, of any level, what runs over the edge, and targets too small."""
    page.set_viewport_size(size)
    found = Axe().run(page, options={"resultTypes": ["violations"]}).response["violations"]
    told = [f"{one['id']}: {node['html'][:80]}" for one in found for node in one["nodes"][:2]]
    return [*told, *page.evaluate(TOO_WIDE), *page.evaluate(TOO_SMALL)]


def in_english_or_spanish(language):
    """Return a farm with one of everything, whose manager goes out with the crew and speaks that language."""
    farm = plenty()
    Membership.objects.filter(person=farm.person).update(language=language)
    farm.person.set_password(PASSWORD)
    farm.person.save()
    return farm


def every_address(phone, farm):
    """Go to every address that shows a page; yield its name."""
    for name in every_page.PAGES:
        if name not in every_page.OPEN:
            phone.go(
                every_page.address(
                    name, farm=farm.at.farm, work=farm.work, draft=farm.draft, block=farm.block
                )
            )
            phone.page.evaluate("document.querySelectorAll('main details').forEach((one) => one.open = true)")
            yield name


def parts_of_the_order(phone, farm):
    """Go through the parts of an order's page, of the steps of mixing, which are alike, the first two."""
    page = phone.go(f"/farms/{farm.at.farm.id}/work/{farm.work.id}")
    parts = page.evaluate("[...document.querySelectorAll('main > section')].map((one) => one.id)")
    mixing = [one for one in parts if one.startswith("mix-")]
    for part in parts[1:]:
        if part not in mixing[2:]:
            page.evaluate(f"location.hash = '{part}'")
            page.wait_for_selector(f"#{part}.shown")
            yield part


def what_forms_lead_to(phone, farm):
    """Go to what a page becomes where a form was refused, or answered; yield its name."""
    page, base = phone.page, f"/farms/{farm.at.farm.id}"
    phone.go(f"{base}/work/{farm.work.id}#start")
    page.select_option('#start [name="block"]', label="A1")
    page.fill('[name="observed.wind.value"]', "14")
    page.fill('[name="observed.temperature.value"]', "5,5")
    page.check('[name="observed.people_out:bool"]')
    page.click("#start button.next")
    page.wait_for_selector(".error")
    yield "start, with faults"
    phone.go(f"{base}/mix")
    page.select_option('[name="block"]', str(farm.at.a2.id))
    page.select_option('[name="sprayer"]', str(farm.at.backpack.id))
    page.fill('[name="spray.total.value"]', "8")
    page.select_option('[name="products.0.product"]', str(farm.at.copper.id))
    page.fill('[name="products.0.rate.value"]', "1,5")
    page.click("form button.next")
    page.wait_for_selector(".error")
    yield "mix, with a fault"
    page.fill('[name="products.0.rate.value"]', "1.5")
    page.fill('[name="stage.bbch:int"]', "65")
    page.click("form button.next")
    page.wait_for_selector("#verdict")
    yield "mix, checked"
    empty = MembershipFactory(person=farm.person, role="owner").farm
    phone.go(f"/farms/{empty.id}/first-steps")
    yield "first steps of an empty farm"
    page.click(".me summary")
    yield "menu"
    phone.go("/farms/00000000-0000-7000-8000-000000000000/today")
    yield "not here"


def before_the_door(phone, farm):
    """Go to the pages that need nobody signed in; yield their names."""
    for name in every_page.OPEN:
        phone.go(
            every_page.address(name, farm=farm.at.farm, work=farm.work, draft=farm.draft, block=farm.block)
        )
        yield name
    phone.sign_in(farm.person, "three plum stones")
    yield "sign-in, refused"


@pytest.mark.parametrize("language", ["en", "es"])
def test_no_page_has_a_finding_of_axe_runs_over_the_edge_or_has_small_targets(phone, language):
    farm = in_english_or_spanish(language)
    phone.context.add_cookies([{"name": "django_language", "value": language, "url": phone.station.url}])
    faults, seen = {}, set()

    def look(pages, sizes):
        for name in pages:
            seen.add(name)
            assert phone.page.get_attribute("html", "lang") == ("en" if name == "docs" else language), name
            for size in sizes:
                if told := findings(phone.page, size):
                    faults[name, size["width"]] = told

    look(before_the_door(phone, farm), [NARROW, DESK])
    phone.sign_in(farm.person, PASSWORD)
    look(every_address(phone, farm), [NARROW, DESK])
    look(parts_of_the_order(phone, farm), [NARROW])
    look(what_forms_lead_to(phone, farm), [NARROW])

    assert faults == {}
    assert set(every_page.PAGES) < seen
    assert [one for one in phone.faults_of_script() if "404" not in one and "422" not in one] == []
