"""A crew's pages over a thin line: how much each weighs, and how soon one that is kept can be read."""

import pytest

from tests.browser.orchards import PASSWORD
from tests.browser.test_every_page import in_english_or_spanish
from tests.browser.test_without_a_signal import FIRST_PAINT
from tests.web import every_page
from tests.web.plenty import one_more

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.xdist_group("browser")]
MOST_BYTES = 100_000
LATEST_MS = 1000
SLOW_3G = {"offline": False, "latency": 400, "downloadThroughput": 50_000, "uploadThroughput": 50_000}
CREW_PAGES = (*every_page.CREW, "emergency-list.html")
JOBS = 3


def addresses(farm):
    return {
        name: every_page.address(name, farm=farm.at.farm, work=farm.work, draft=farm.draft, block=farm.block)
        for name in CREW_PAGES
    }


def weighed(phone, path):
    """Open a page on a phone that has nothing of it yet; return its bytes, as they are and as they came.

    What `today` takes along, the pages of the day that are read later, counts for those pages.
    """
    line = phone.context.new_cdp_session(phone.page)
    line.send("Network.setCacheDisabled", {"cacheDisabled": True})
    kinds = "service_workers,cache_storage,indexeddb"
    line.send("Storage.clearDataForOrigin", {"origin": phone.station.url, "storageTypes": kinds})
    came = []

    def note(request):
        came.append(request)

    phone.page.on("requestfinished", note)
    phone.go(path)
    phone.page.wait_for_load_state("networkidle")
    phone.page.remove_listener("requestfinished", note)
    orders = phone.page.evaluate("document.getElementById('today')?.dataset.keep ?? ''").split()
    later = {f"{phone.station.url}{one}" for one in (*phone.day, *orders) if one != path}
    own = [one for one in came if one.url not in later]
    sizes = [one.sizes() for one in own]
    line.detach()
    # Asked for once more: a browser may have let go of what it was given. The script of the worker is no
    # request that the page itself tells of.
    urls = {one.url for one in own if one.response().status == 200} | {f"{phone.station.url}/worker.js"}
    whole = sum(len(phone.context.request.get(one).body()) for one in urls)
    return whole, sum(one["responseBodySize"] + one["responseHeadersSize"] for one in sizes)


def test_each_page_of_a_crew_weighs_less_than_a_picture_with_many_of_everything(phone):
    farm = in_english_or_spanish("es")
    for _ in range(JOBS):
        one_more(farm)
    where = addresses(farm)
    phone.sign_in(farm.person, PASSWORD)
    phone.day = [*where.values()]

    weights = {name: weighed(phone, path) for name, path in where.items()}

    assert {name: both for name, both in weights.items() if max(both) > MOST_BYTES} == {}
    assert min(whole for whole, _ in weights.values()) > 1_000  # they were weighed


def test_each_page_of_a_crew_that_is_kept_is_painted_within_a_second_on_slow_3g(phone):
    farm = in_english_or_spanish("en")
    where = addresses(farm)
    phone.sign_in(farm.person, PASSWORD)
    phone.go(where["today"]).wait_for_selector("#today[data-ready]")
    phone.page.evaluate("navigator.serviceWorker.ready")
    phone.station.slow = True  # for what the worker asks; below, for what the page asks itself
    line = phone.context.new_cdp_session(phone.page)
    line.send("Network.enable")
    line.send("Network.emulateNetworkConditions", SLOW_3G)

    def painted(path):
        phone.go(path)
        return phone.page.evaluate(FIRST_PAINT)

    # The quicker of two: asked is what a page needs, not what else this machine is doing.
    times = {name: min(painted(path), painted(path)) for name, path in where.items()}

    assert {name: ms for name, ms in times.items() if ms >= LATEST_MS} == {}
