"""The pages on paper."""

import pytest

from tests.browser.orchards import given, somebody, spray_day
from tests.browser.test_without_a_signal import ready, work_of

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.xdist_group("browser")]


def test_on_paper_all_of_an_order_is_there_and_no_button(phone):
    farm = spray_day()
    order, person = given(farm), somebody(farm)
    ready(phone, farm, person)
    page = phone.go(work_of(farm, order))

    page.emulate_media(media="print")

    assert page.is_visible("#order h3") and page.is_visible("section.mixing .amount")
    assert not page.is_visible(".top") and not page.is_visible("#next button")
