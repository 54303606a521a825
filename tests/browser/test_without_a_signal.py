"""A day without a signal: nothing is lost, nothing twice, and a phone that changes hands tells nothing."""

import datetime as dt
from pathlib import Path

import pytest
from django.contrib.sessions.models import Session
from django.utils import timezone

from orchard.farms.actors import SYSTEM
from orchard.inventory.models import Movement
from orchard.inventory.services import documents
from orchard.tasks.models import ApplicationRecord, Incident, Load
from orchard.tasks.services import orders
from scheduling import outbox
from tests.browser.orchards import PASSWORD, TITLE, given, somebody, spray_day
from tests.tasks.lowbell import on_hand

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.xdist_group("browser")]
LEFT_ON_THE_PHONE = """async () => {
  const found = [];
  for (const name of await caches.keys()) {
    const cache = await caches.open(name);
    for (const one of await cache.keys()) {
      found.push(one.url);  // of files that everybody gets the name alone
      if (!/[.](js|css|svg)$/.test(one.url)) found.push(await (await cache.match(one)).text());
    }
  }
  const base = await new Promise((done) => { indexedDB.open("orchard").onsuccess = (e) => done(e.target.result); });
  for (const name of base.objectStoreNames) {
    const rows = await new Promise((done) => { base.transaction(name).objectStore(name).getAll().onsuccess = (e) => done(e.target.result); });
    for (const row of rows) {
      if (row?.key instanceof CryptoKey) found.push("A KEY");
      found.push(JSON.stringify(row, (_, one) => one instanceof ArrayBuffer ? new TextDecoder("latin1").decode(one) : one));
    }
  }
  return found.join("\\n");
}"""  # noqa: E501

FIRST_PAINT = """() => new Promise((done) => new PerformanceObserver((list) => {
  const first = list.getEntriesByName("first-contentful-paint")[0];
  if (first) done(first.startTime);
}).observe({ type: "paint", buffered: true }))"""


def ready(phone, farm, person):
    """Sign in and wait until the day's work is on the phone."""
    phone.sign_in(person, PASSWORD)
    phone.go(f"/farms/{farm.farm.id}/today").wait_for_selector("#today[data-ready]")
    phone.page.evaluate("navigator.serviceWorker.ready")


def work_of(farm, order):
    return f"/farms/{farm.farm.id}/work/{order.id}"


def check_and_start(page, wind="5"):
    page.click('#next a[href="#start"]')
    page.select_option('#start [name="block"]', label="A3")
    page.fill('[name="observed.wind.value"]', wind)
    page.fill('[name="observed.temperature.value"]', "52")
    page.fill('[name="observed.minimum_next_24h.value"]', "41")
    page.check('[name="observed.people_out:bool"]')
    page.click("#start button.next")


def take_on_and_start(page):
    page.click("#next button")
    page.wait_for_selector('#next a[href="#start"]')
    check_and_start(page)
    page.wait_for_selector('#next a[href^="#mix"]')


def steps_of_mixing(page):
    """Yield each step of mixing once it is shown, and go on when the next part is."""
    while (here := page.evaluate("location.hash")) != "#record":
        page.wait_for_selector(f"{here}.shown")
        yield here
        page.wait_for_selector(f"{here}:not(.shown)", state="attached")
    page.wait_for_selector("#record.shown")


def mix(page):
    page.click('#next a[href^="#mix"]')
    for step in steps_of_mixing(page):
        page.click(f"{step} [data-done]")
    page.click("#record button.next")


def end(page):
    page.click('#next a[href="#finish"]')
    page.check('[name="nothing_unusual:bool"]')
    page.click("#finish button.next")
    page.wait_for_selector("#next .good")


def all_sent(page):
    page.wait_for_selector("#signal", state="hidden")


def test_a_whole_day_in_airplane_mode_killed_twice_makes_one_record_and_one_deduction(phone):
    farm = spray_day()
    order, person = given(farm), somebody(farm)
    ready(phone, farm, person)

    phone.airplane_mode(True)
    page = phone.go(f"/farms/{farm.farm.id}/today")
    page.click(".card")
    take_on_and_start(page)
    page.click('#next a[href^="#mix"]')
    page.click(".shown [data-done]")
    page.click(".shown [data-done]")
    phone.kill()

    phone.open()
    page = phone.go(work_of(farm, order))
    page.click('#next a[href^="#mix"]')  # it goes on at the third step
    assert page.inner_text(".shown .count").endswith("step 3 of 6")
    phone.go(work_of(farm, order))
    mix(page)
    page.wait_for_selector("#next >> text=Mix load 2")
    phone.kill()

    phone.open()
    page = phone.go(work_of(farm, order))
    mix(page)
    end(page)
    assert "Not sent yet: 5" in page.inner_text("#signal")
    assert not Load.objects.exists() and not ApplicationRecord.objects.exists()

    phone.airplane_mode(False)
    all_sent(page)
    outbox.drain(now=timezone.now())

    record = ApplicationRecord.objects.get()
    assert (record.work_order, record.body["weather"]["wind"]["value"]) == (order, "5")
    assert [load.number for load in Load.objects.order_by("number")] == [1, 2]
    assert Movement.objects.filter(kind="use").count() == 2
    assert on_hand(farm.first_lot, "oz_wt") == "146"  # 9.5 lb less 6 oz
    assert phone.faults_of_script() == []


def test_what_went_wrong_without_a_signal_stands_in_the_record(phone):
    farm = spray_day()
    order, person = given(farm, total="4"), somebody(farm)
    ready(phone, farm, person)
    phone.airplane_mode(True)
    page = phone.go(work_of(farm, order))
    take_on_and_start(page)
    mix(page)
    page.click('#next a[href="#finish"]')
    page.click("#finish >> text=Tell it first")
    page.select_option('[name="kind"]', "spill")
    page.fill('[name="place"]', "row 7")
    page.click("button.next")
    page.wait_for_url("**/sent")

    phone.go(work_of(farm, order)).click('#next a[href="#finish"]')
    assert not page.is_visible('[name="nothing_unusual:bool"]')
    page.click("#finish button.next")
    page.wait_for_selector("#next .good")
    phone.airplane_mode(False)
    all_sent(page)

    told, record = Incident.objects.get(), ApplicationRecord.objects.get()
    assert (told.place, told.work_order) == ("row 7", order)
    assert record.body["incidents"] == [str(told.id)] and not record.body["nothing_unusual"]


def test_an_expired_session_loses_nothing_sign_in_and_go_on(phone):
    farm = spray_day()
    order, person = given(farm), somebody(farm)
    ready(phone, farm, person)
    page = phone.go(work_of(farm, order))
    phone.airplane_mode(True)
    page.click("#next button")
    page.wait_for_selector('#next a[href="#start"]')

    Session.objects.all().delete()
    phone.airplane_mode(False)
    page.wait_for_selector("#signal >> text=Sign in to send what waits: 1")
    page.click("#signal a")
    page.fill("#id_username", person.email)
    page.fill("#id_password", PASSWORD)
    page.click("button.next")
    page.wait_for_selector('#next a[href="#start"]')
    all_sent(page)

    order.refresh_from_db()
    assert order.status == "accepted"
    assert page.url.split("#")[0].endswith(work_of(farm, order))


def test_signing_out_by_mistake_leaves_nothing_to_read_and_loses_nothing(phone):
    farm = spray_day()
    order, person = given(farm), somebody(farm)
    ready(phone, farm, person)
    page = phone.go(work_of(farm, order))
    phone.airplane_mode(True)
    page.click("#next button")
    page.wait_for_selector('#next a[href="#start"]')
    assert TITLE in page.evaluate(LEFT_ON_THE_PHONE)

    page.click(".me summary")
    page.click("[data-sign-out] button")
    page.wait_for_url("**/signed-out")
    left = page.evaluate(LEFT_ON_THE_PHONE)
    for told in (TITLE, "Lowbell", "revision", "accept", person.email, str(order.id), "A KEY"):
        assert told not in left
    phone.go(f"/farms/{farm.farm.id}/today")
    assert page.url.endswith("/signed-out")

    phone.airplane_mode(False)
    phone.go(f"/farms/{farm.farm.id}/today")
    assert page.url.endswith("/signed-out")  # not even with a signal, until the old session is ended
    page.click("#end button")
    page.wait_for_url("**/sign-in")
    assert page.is_visible("#kept")
    phone.sign_in(person, PASSWORD)
    phone.go(work_of(farm, order))
    page.wait_for_selector('#next a[href="#start"]')
    all_sent(page)
    order.refresh_from_db()
    assert order.status == "accepted"


def label_file(farm, words, hours):
    """Keep a file of the copper's label, some hours after the morning began."""
    return documents.add_document(
        product=farm.copper,
        by=SYSTEM,
        now=farm.now + dt.timedelta(hours=hours),
        content=f"%PDF-1.7 {words}".encode(),
        kind="label",
        name=f"{words}.pdf",
        media_type="application/pdf",
        language="en",
    )


def test_a_label_opens_without_a_signal_no_older_one_is_stored_and_none_after_signing_out(phone):
    farm = spray_day()
    label_file(farm, "copper as it was", hours=0)
    newest = label_file(farm, "copper as it is", hours=1)
    order, person = given(farm), somebody(farm)
    ready(phone, farm, person)
    phone.airplane_mode(True)
    page = phone.go(work_of(farm, order))

    page.click("#labels summary")
    with page.expect_download() as opened:
        page.click("#labels a >> nth=0")
    assert Path(opened.value.path()).read_bytes() == b"%PDF-1.7 copper as it is"
    left = page.evaluate(LEFT_ON_THE_PHONE)
    assert "PDF-1.7 copper as it is" in left and "PDF-1.7 copper as it was" not in left

    page.click(".me summary")
    page.click("[data-sign-out] button")
    page.wait_for_url("**/signed-out")
    assert "PDF-1.7" not in page.evaluate(LEFT_ON_THE_PHONE)
    phone.go(f"{newest.path}/content")
    assert page.url.endswith("/signed-out")


def test_two_people_on_one_phone_are_kept_apart(phone):
    farm = spray_day()
    order, teo, wren = given(farm), somebody(farm), somebody(farm, worker=farm.wren, name="Wren")
    ready(phone, farm, teo)
    page = phone.go(work_of(farm, order))
    phone.airplane_mode(True)
    page.click("#next button")
    page.wait_for_selector('#next a[href="#start"]')
    page.click(".me summary")
    page.click("[data-sign-out] button")
    page.wait_for_url("**/signed-out")

    phone.airplane_mode(False)
    page.click("#end button")
    page.wait_for_url("**/sign-in")
    ready(phone, farm, wren)
    phone.go(f"/farms/{farm.farm.id}/sent").wait_for_selector("#others:not([hidden])")
    assert "Another person wrote 1 on this phone" in page.inner_text("#others")
    assert page.inner_text("#waiting") == ""
    order.refresh_from_db()
    assert order.status == "issued"

    page.click(".me summary")
    page.click("[data-sign-out] button")
    page.wait_for_url("**/sign-in")
    ready(phone, farm, teo)
    all_sent(page)
    order.refresh_from_db()
    assert order.status == "accepted"


def test_a_conflict_is_shown_the_farm_keeps_what_was_done_and_lets_it_in_later(phone):
    farm = spray_day()
    order, person = given(farm), somebody(farm)
    ready(phone, farm, person)
    page = phone.go(work_of(farm, order))
    page.click("#next button")
    page.wait_for_selector('#next a[href="#start"]')
    all_sent(page)
    phone.airplane_mode(True)
    check_and_start(page)
    page.wait_for_selector('#next a[href^="#mix"]')
    mix(page)
    page.wait_for_selector("#next >> text=Mix load 2")

    order.refresh_from_db()
    orders.change_order(order=order, instructions="Leave the last row.", by=SYSTEM, now=timezone.now())
    phone.airplane_mode(False)
    page.wait_for_selector("#signal.bad >> text=Refused: 2")
    page.click("#signal a")

    shown = page.wait_for_selector("#waiting .wrong").inner_text()
    assert "Started" in shown and "The order is in another state now. Read it again." in shown
    assert "The farm has it and shows it to the manager." in page.inner_text("#waiting")
    order.refresh_from_db()
    assert [one["action"] for one in order.conflicts] == ["record_load"] and not Load.objects.exists()

    page.click("#waiting .wrong >> text=Read the order again")
    page.wait_for_selector("text=Leave the last row.")
    page.click("#next button")
    page.wait_for_selector("#plan[data-plan*='accepted']", state="attached")  # as the farm has it
    phone.go(f"/farms/{farm.farm.id}/sent").click("#waiting .wrong button >> text=Send again")
    page.wait_for_selector("#none-waiting:not([hidden])")
    assert [load.number for load in Load.objects.all()] == [1]


def test_a_kept_page_paints_within_a_second_on_a_slow_net_and_takes_the_new_one_later(phone):
    farm = spray_day()
    order, person = given(farm), somebody(farm)
    ready(phone, farm, person)
    page = phone.go(work_of(farm, order))

    phone.station.slow = True  # 400 ms there and back, twice, and 400 kbit a second
    phone.go(work_of(farm, order))
    painted = page.evaluate(FIRST_PAINT)
    assert painted < 1000, painted

    order.refresh_from_db()
    orders.change_order(order=order, instructions="Leave the last row.", by=SYSTEM, now=timezone.now())
    phone.go(work_of(farm, order))
    page.wait_for_selector("text=Leave the last row.")


def test_the_emergency_card_stays_when_all_else_goes_and_tells_of_nobody(phone):
    farm = spray_day()
    farm.farm.emergency, farm.farm.gate_code = "911. Mill Lane 4, by the white barn.", "4711 star"
    farm.farm.save()
    order, person = given(farm), somebody(farm)
    ready(phone, farm, person)
    card = f"/farms/{farm.farm.id}/emergency"
    assert "4711 star" in phone.page.inner_text("main")  # for whoever is signed in
    phone.airplane_mode(True)
    page = phone.go(f"/farms/{farm.farm.id}/today")
    page.click(".me summary")
    page.click("[data-sign-out] button")
    page.wait_for_url("**/signed-out")

    page.click("#cards a")
    page.wait_for_url(f"**{card}")
    told = page.inner_text("main")
    assert "911. Mill Lane 4" in told and "Copper hydroxide 30 WG" in told and "demo-0001" in told
    left = page.evaluate(LEFT_ON_THE_PHONE)
    assert page.evaluate("caches.open('cards').then((one) => one.keys()).then((all) => all.length)") == 1
    for secret in (
        "4711",
        TITLE,
        "Lowbell",
        person.name,
        person.email,
        farm.wren.name,
        str(order.id),
        "A KEY",
    ):
        assert secret not in left, secret

    phone.airplane_mode(False)
    phone.go("/signed-out")
    page.click("#end button")
    page.wait_for_url("**/sign-in")
    page.click("#cards a")  # nobody is signed in, and the server would ask for it
    assert "911. Mill Lane 4" in page.inner_text("main")


def test_the_card_goes_from_the_phone_of_somebody_who_left_the_farm(phone):
    farm = spray_day()
    person = somebody(farm)
    ready(phone, farm, person)
    person.memberships.all().delete()

    phone.go(f"/farms/{farm.farm.id}/emergency")
    phone.page.wait_for_load_state()

    assert (
        phone.page.evaluate("caches.open('cards').then((one) => one.keys()).then((all) => all.length)") == 0
    )
