"""Records as files: element by element what the rules ask for, in CSV and on paper."""

import csv
import datetime as dt
import io

import pytest
from django.utils import timezone, translation

from orchard.farms.actors import SYSTEM
from orchard.tasks import elements
from orchard.tasks.papers import record_pdf
from orchard.tasks.services import records
from tests.callers import Caller
from tests.tasks.lowbell import ended, lowbell, mixed
from tests.tasks.papers import pages, words
from tests.tasks.test_application_records import paper, with_lot

pytestmark = pytest.mark.django_db

IN_CSV = {
    "products.*.name": "product_name",
    "products.*.registration": "registration",
    "products.*.active_ingredients": "active_ingredients",
    "products.*.re_entry": "re_entry_value",
    "products.*.amount": "amount_value",
    "products.*.rate_applied": "rate_value",
    "place.crop": "crop",
    "place.name": "block_name",
    "place.eppo": "eppo",
    "started_at": "started_at",
    "finished_at": "finished_at",
    "spray.area": "area_value",
    "people.*.name": "sprayed_by",
    "people.some.licence": "licences",
    "use": "use",
    "stage.bbch": "bbch",
}
ON_PAPER = {
    "products.*.name": "Copper hydroxide 30 WG: 196 oz wt",
    "products.*.registration": "demo-0001",
    "products.*.active_ingredients": "copper hydroxide",
    "products.*.re_entry": "48 h",
    "products.*.amount": "196 oz wt",
    "products.*.rate_applied": "1 oz wt/gal",
    "place.crop": "peach (EPPO PRNPS)",
    "place.name": "A2, Fri 18 Dec 2026",
    "place.eppo": "PRNPS",
    "started_at": "Began, ended Fri 18 Dec 2026, 10:00",
    "finished_at": "Fri 18 Dec 2026, 10:00",
    "spray.area": "1.0413 acre",
    "people.*.name": "Teo (licence QAL-77); Wren",
    "people.some.licence": "QAL-77",
    "use": "spraying of a crop in the open",
    "stage.bbch": "Stage (BBCH) 97",
}


@pytest.fixture
def farm():
    return lowbell()


def test_the_table_for_a_spreadsheet_has_a_filled_column_for_every_element_of_the_rules():
    farm = lowbell(now=timezone.now())
    ended(farm, mixed(farm))

    response = Caller(farm.farm, "manager").get("application-records.csv")

    (row,) = csv.DictReader(io.StringIO(response.content.decode()))
    for element in elements.table():
        assert row[IN_CSV[element.where]], element


def test_a_record_on_paper_shows_every_element_of_the_rules(farm):
    record = ended(farm, mixed(farm))

    with translation.override("en"):
        text = words(record_pdf.render([record], farm=farm.farm, made_at=farm.now))

    assert [row for row in elements.table() if ON_PAPER[row.where] not in text] == []


def test_a_corrected_record_on_paper_names_the_one_that_stands_and_why(farm):
    record = ended(farm, mixed(farm))
    later = farm.now + dt.timedelta(hours=1)
    new = records.correct(
        record=record, reason="the clock was wrong", changes={"finished_at": later}, by=SYSTEM, now=later
    )
    gone = records.void(record=new, reason="another block", by=SYSTEM, now=later)

    text = words(record_pdf.render([record, new, gone], farm=farm.farm, made_at=later))

    assert f"CORRECTED: record {new.id}" in text
    assert "VOID: this application is taken back. Reason: another block" in text


def test_records_on_paper_over_http_by_role_and_language():
    farm = lowbell(now=timezone.now())
    manager = Caller(farm.farm, "manager")
    made = manager.post("application-records", paper(farm, **with_lot(farm))).json()

    one = Caller(farm.farm, "crew_member").get(f"application-records/{made['id']}/page.pdf?language=es")
    all_of_them = manager.get(f"application-records.pdf?block={farm.a3.id}&status=current")
    none = manager.get(f"application-records.pdf?block={farm.a1.id}")

    assert (one.status_code, one["Content-Type"]) == (200, "application/pdf")
    assert "Registros de aplicación" in words(one.content) and "Lotes C-2201: 4.8 oz wt" in words(one.content)
    assert "A3" in words(all_of_them.content)
    assert "No record answers to this." in words(none.content)
    again = manager.get(f"application-records.pdf?block={farm.a3.id}&status=current")
    assert again.content == all_of_them.content
    assert manager.get("application-records.pdf?bloc=1").status_code == 400


def test_what_does_not_fit_in_one_file_is_told(farm):
    record = ended(farm, mixed(farm))

    made = record_pdf.render([record] * 7, farm=farm.farm, made_at=farm.now, left_out=93)

    assert len(pages(made)) > 1
    assert "93 more records are not printed here" in pages(made)[-1]
