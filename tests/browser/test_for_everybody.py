"""The pages for everybody: read aloud, by keyboard alone, on a narrow phone, on a desk, over a thin line."""

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.browser.orchards import PASSWORD, given, somebody, spray_day
from tests.browser.test_without_a_signal import ready, steps_of_mixing, work_of

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.xdist_group("browser")]
MOST_BYTES = 100_000
SIZES = ({"width": 320, "height": 640}, {"width": 1280, "height": 900})
TOO_SMALL = """[...document.querySelectorAll("button, input, select, .next")]
  .filter((one) => one.offsetParent && !["hidden", "checkbox"].includes(one.type))
  .filter((one) => one.getBoundingClientRect().height < 48).map((one) => one.outerHTML)"""


def parts_of(page):
    """Return the parts of a work order's page; of the steps of mixing, which are alike, the first four."""
    parts = page.evaluate("[...document.querySelectorAll('main > section')].map((one) => one.id)")
    mixing = [one for one in parts if one.startswith("mix-")]
    return [one for one in parts if one not in mixing[4:]]


def every_page(phone, farm, order, person):
    """Go through every page and part of a page of a crew; yield its name."""
    phone.go("/sign-in")
    yield "sign-in"
    phone.sign_in(person, "three plum stones")
    yield "sign-in refused"
    phone.sign_in(person, PASSWORD)
    yield "farms"
    base = f"/farms/{farm.farm.id}"
    for name in ("today", "sent", "incident"):
        phone.go(f"{base}/{name}")
        phone.page.wait_for_load_state("networkidle")
        yield name
    phone.page.click(".me summary")
    yield "menu"
    page = phone.go(work_of(farm, order))
    for part in parts_of(page):
        page.evaluate(f"location.hash = '{part}'")
        page.wait_for_selector(f"#{part}.shown")
        yield part
    page.evaluate("document.querySelectorAll('details').forEach((one) => one.open = true)")
    page.evaluate("location.hash = 'start'")
    page.fill('[name="observed.wind.value"]', "14")
    page.fill('[name="observed.temperature.value"]', "5,5")
    page.check('[name="observed.people_out:bool"]')
    page.click("#start button.next")
    yield "start, with faults"
    for path in ("/offline", "/signed-out", "/farms/00000000-0000-7000-8000-000000000000/today"):
        phone.go(path)
        yield path


def test_no_page_has_a_finding_of_axe(phone):
    farm = spray_day()
    farm.farm.emergency = "911"
    farm.farm.save()
    order, person = given(farm, instructions="Begin at the road."), somebody(farm)

    found = {
        name: [one["id"] for one in Axe().run(phone.page).response["violations"]]
        for name in every_page(phone, farm, order, person)
    }

    assert len(found) > 15
    assert {name: ids for name, ids in found.items() if ids} == {}
    assert [one for one in phone.faults_of_script() if "404" not in one] == []


def test_nothing_runs_over_the_edge_and_targets_are_large(phone):
    farm = spray_day()
    order, person = given(farm), somebody(farm, language="es")

    for name in every_page(phone, farm, order, person):
        for size in SIZES:
            phone.page.set_viewport_size(size)
            assert phone.page.evaluate("document.documentElement.scrollWidth") <= size["width"], name
            assert phone.page.evaluate(TOO_SMALL) == [], name


def by_keyboard(page, wanted, key="Enter"):
    """Go on by Tab until that has the focus, and press a key."""
    for _ in range(80):
        page.keyboard.press("Tab")
        if page.evaluate("(wanted) => document.activeElement.matches(wanted)", wanted):
            page.keyboard.press(key)
            return
    raise AssertionError(f"no Tab leads to {wanted}")


def test_a_day_by_keyboard_alone(phone):
    farm = spray_day()
    order, person = given(farm, total="4"), somebody(farm)
    page = phone.go("/sign-in")
    page.keyboard.type(person.email)
    page.keyboard.press("Tab")
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_selector("a.card")

    by_keyboard(page, "a.card")
    page.wait_for_selector("#today")
    by_keyboard(page, "a.card")
    page.wait_for_selector("#next button")
    by_keyboard(page, "#next button")
    page.wait_for_selector('#next a[href="#start"]')
    by_keyboard(page, "#next a")
    for name, told in (("observed.wind.value", "5"), ("observed.temperature.value", "52")):
        by_keyboard(page, f'[name="{name}"]', "End")
        page.keyboard.type(told)
    by_keyboard(page, '[name="observed.people_out:bool"]', "Space")
    by_keyboard(page, "#start button.next")
    page.wait_for_selector('#next a[href^="#mix"]')
    by_keyboard(page, "#next a")
    for _ in steps_of_mixing(page):
        by_keyboard(page, ".shown [data-done]")
    by_keyboard(page, "#record button.next")
    page.wait_for_selector('#next a[href="#finish"]')
    by_keyboard(page, "#next a")
    by_keyboard(page, '[name="nothing_unusual:bool"]', "Space")
    by_keyboard(page, "#finish button.next")
    page.wait_for_selector("#state >> text=done")

    order.refresh_from_db()
    assert order.status == "done"


def test_a_page_weighs_less_than_a_picture(phone):
    farm = spray_day()
    order, person = given(farm), somebody(farm)
    phone.sign_in(person, PASSWORD)
    weight = {}
    phone.page.on("response", lambda answer: weight.update({answer.url: len(answer.body())}))

    phone.go(work_of(farm, order))
    phone.page.wait_for_load_state("networkidle")

    shell = sum(size for url, size in weight.items() if "worker.js" not in url)
    assert 10_000 < shell <= MOST_BYTES, weight


def test_on_paper_all_of_an_order_is_there_and_no_button(phone):
    farm = spray_day()
    order, person = given(farm), somebody(farm)
    ready(phone, farm, person)
    page = phone.go(work_of(farm, order))

    page.emulate_media(media="print")

    assert page.is_visible("#order h3") and page.is_visible("section.mixing .amount")
    assert not page.is_visible(".top") and not page.is_visible("#next button")
