"""Whether each page there is has its row, so that what is asked of every page is asked of a new one too."""

from tests.web import every_page


def test_every_address_of_a_page_has_its_row_and_every_row_an_address():
    assert every_page.names() == {*every_page.PAGES, *every_page.NO_PAGE}
