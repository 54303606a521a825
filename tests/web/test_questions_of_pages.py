"""How often each page asks the database: as often for ten of everything as for one."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.web import every_page
from tests.web.people import at_the_pages
from tests.web.plenty import one_more, plenty

pytestmark = pytest.mark.django_db

SHOW_NO_ROWS = {"sign-in", "offline", "signed-out", "docs", "first-steps", "incident", "hours"}
"""Pages of one thing: ten of it make no longer page."""


def test_every_page_asks_the_database_as_often_for_ten_of_everything_as_for_one():
    farm = plenty()
    browser = at_the_pages(farm)
    where = {
        name: every_page.address(name, farm=farm.at.farm, work=farm.work, draft=farm.draft, block=farm.block)
        for name in every_page.PAGES
    }

    def asked():
        counts, sizes = {}, {}
        for name, path in where.items():
            browser.get(path)  # what a process looks up once
            with CaptureQueriesContext(connection) as questions:
                page = browser.get(path)
            assert page.status_code in (200, 302), name  # 302: who is signed in needs no sign-in
            counts[name] = [one["sql"].partition("WHERE")[0] for one in questions]
            sizes[name] = len(page.content)
        return counts, sizes

    with_one, small = asked()
    while farm.more < 10:
        one_more(farm)
    with_ten, large = asked()

    alike = {name for name in where if large[name] < small[name] * 1.05}
    assert alike <= SHOW_NO_ROWS  # the others did show more
    more = {
        name: [one for one in with_ten[name] if with_ten[name].count(one) != with_one[name].count(one)]
        for name in where
        if len(with_ten[name]) != len(with_one[name])
    }
    assert more == {}
