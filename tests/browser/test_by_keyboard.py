"""The pages by keyboard alone: everything is reached in the order it is read, and is seen to be reached."""

from itertools import pairwise

import pytest

from tests.browser.orchards import PASSWORD, given, somebody, spray_day
from tests.browser.test_every_page import DESK, NARROW, in_english_or_spanish
from tests.browser.test_without_a_signal import steps_of_mixing
from tests.web import every_page

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.xdist_group("browser")]
WALK = """() => {
  document.querySelectorAll("main details").forEach((one) => one.open = true);
  const all = 'a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex="0"]';
  const wanted = [...document.querySelectorAll(all)].filter((one) => one.checkVisibility());
  const light = (colour) => {
    const parts = colour.match(/[\\d.]+/g).slice(0, 3).map((one) => one / 255);
    const [r, g, b] = parts.map((one) => one <= 0.04045 ? one / 12.92 : ((one + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const behind = (one) => {
    for (let at = one.parentElement; at; at = at.parentElement) {
      const colour = getComputedStyle(at).backgroundColor;
      if (!/, 0\\)$/.test(colour)) return colour;
    }
  };
  const stop = (one) => {
    const look = getComputedStyle(one), box = one.getBoundingClientRect();
    const [low, high] = [light(look.outlineColor), light(behind(one))].sort((a, b) => a - b);
    return {
      place: wanted.indexOf(one), html: one.outerHTML.slice(0, 90),
      top: box.top + scrollY, bottom: box.bottom + scrollY,
      seen: look.outlineStyle !== "none" && parseFloat(look.outlineWidth) >= 2 && (high + 0.05) / (low + 0.05) >= 3,
    };
  };
  window.stops = [];
  document.addEventListener("focusin", ({ target }) => window.stops.push(stop(target)));
  const top = Object.assign(document.createElement("span"), { tabIndex: -1 });
  document.body.prepend(top);  // a page may have put the focus into its first field
  top.focus();
  window.stops = [];
  return wanted.map((one) => one.outerHTML.slice(0, 90));
}"""  # noqa: E501
"""Source of luminance and of 3:1 for what shows the focus: WCAG 2.2, W3C, 2023 (from memory)."""


def walked(page):
    """Go through a page by Tab alone; return what is wrong."""
    wanted = page.evaluate(WALK)
    for _ in wanted:
        page.keyboard.press("Tab")
    stops = page.evaluate("window.stops")
    order = [one["place"] for one in stops]
    wrong = [f"{one['html']}: focus is not seen" for one in stops if not one["seen"]]
    if order != list(range(len(wanted))):
        missed = [html for place, html in enumerate(wanted) if place not in order]
        wrong.append(f"not reached, or in another order: {order} {missed[:3]}")
    return wrong + [
        f"{after['html']}: stands above what came before"
        for before, after in pairwise(stops[1:])
        if after["bottom"] <= before["top"]
    ]


def test_every_page_is_walked_by_tab_in_the_order_it_is_read_and_the_focus_is_seen(phone):
    farm = in_english_or_spanish("en")
    faults = {}

    def walk(names):
        for name in names:
            path = every_page.address(
                name, farm=farm.at.farm, work=farm.work, draft=farm.draft, block=farm.block
            )
            for size in (NARROW, DESK):
                phone.page.set_viewport_size(size)
                phone.go(path)
                if found := walked(phone.page):
                    faults[name, size["width"]] = found

    walk(one for one in every_page.OPEN if one != "start")
    phone.sign_in(farm.person, PASSWORD)
    walk(["start", *every_page.CREW, *every_page.OFFICE])

    assert faults == {}


def by_keyboard(page, wanted, key="Enter"):
    """Go on by Tab until that has the focus, and press a key."""
    for _ in range(120):
        page.keyboard.press("Tab")
        if page.evaluate("(wanted) => document.activeElement.matches(wanted)", wanted):
            page.keyboard.press(key)
            return
    raise AssertionError(f"no Tab leads to {wanted}")


def test_the_first_tab_skips_to_the_content_and_the_menu_opens_by_enter(phone):
    farm = in_english_or_spanish("en")
    phone.sign_in(farm.person, PASSWORD)
    page = phone.go(f"/farms/{farm.at.farm.id}/store")

    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.matches('.skip') && document.activeElement.offsetLeft >= 0")
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert page.evaluate("!!document.activeElement.closest('main')")

    phone.go(f"/farms/{farm.at.farm.id}/store")
    by_keyboard(page, ".me summary")
    by_keyboard(page, ".me button[name=language]")
    page.wait_for_selector("html[lang=es]")


def test_the_office_works_by_keyboard_alone(phone):
    farm = in_english_or_spanish("en")
    base = f"/farms/{farm.at.farm.id}"
    phone.sign_in(farm.person, PASSWORD)

    page = phone.go(f"{base}/mix")
    for name in ("block", "sprayer", "products.0.product"):
        by_keyboard(page, f'[name="{name}"]', "ArrowDown")
    for name, told in (("stage.bbch:int", "97"), ("spray.total.value", "4"), ("products.0.rate.value", "1")):
        page.focus("body")
        by_keyboard(page, f'[name="{name}"]', "End")
        page.keyboard.type(told)
    page.keyboard.press("Enter")  # from within a field
    page.wait_for_selector("#verdict, .wrong")

    page = phone.go(f"{base}/plan")
    by_keyboard(page, "details summary")
    by_keyboard(page, "main details summary")
    by_keyboard(page, '[name="starts_at"]', "Control+a")
    page.keyboard.type("2027-01-29 08:30")
    page.keyboard.press("Enter")
    page.wait_for_selector('[name="starts_at"][value="2027-01-29 08:30"]', state="attached")


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
    by_keyboard(page, '#start [name="block"]', "End")  # the sign says A3
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
