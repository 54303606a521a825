"""The sheet that a crew mixes from: every amount of every load, in order, on one page, in two languages."""

import datetime as dt
import os
import subprocess
import sys

import pytest
from django.utils import translation

from mixing.quantities import plain
from orchard.farms.actors import SYSTEM
from orchard.tasks.papers import sheet_pdf, sheets, wording
from orchard.tasks.papers.paper import MISSING
from orchard.tasks.services import issue
from tests.callers import Caller, codes
from tests.factories import amount
from tests.tasks.lowbell import SPRAY_DAY, draft, lowbell, under_way
from tests.tasks.papers import pages, words

pytestmark = pytest.mark.django_db
ADDRESS = "https://lowbell.example/farms/1/work/2"
TOOLS = ["gal", "cup", "fl_oz", "tbsp", "tsp", "lb", "oz_wt"]


@pytest.fixture
def farm():
    return lowbell()


def copper_and_oil(farm, **more):
    order = draft(
        farm,
        products=[
            {"product": str(farm.copper.id), "rate": {"value": "1.0", "unit": "oz_wt/gal"}},
            {"product": str(farm.oil.id), "rate": {"value": "1.25", "unit": "percent_vv"}},
        ],
        measures=TOOLS,
        **more,
    )
    issue.issue(order=order, by=SYSTEM, now=farm.now)
    return order


def sheet_of(order, language="en"):
    with translation.override(language):
        return sheets.of_order(order=order, address=ADDRESS)


def printed(order, farm, language="en", sheet=None):
    with translation.override(language):
        return sheet_pdf.render(sheet or sheet_of(order, language), farm=farm.farm, made_at=order.updated_at)


def test_each_load_says_what_to_measure_in_which_order_with_what_on(farm):
    sheet = sheet_of(copper_and_oil(farm))

    assert [load["number"] for load in sheet["loads"]] == [1, 2, 3, 4]
    assert sheet["wear"] == ["long-sleeved shirt"]
    doing = [(one["action"], one["name"]) for one in sheet["loads"][0]["steps"] if one["name"]]
    assert doing == [
        ("fill", "Water"),
        ("add", "Copper hydroxide 30 WG"),
        ("add", "Mineral oil 98 EC"),
        ("fill", "Water"),
    ]
    last = [wording.measured(one["measure"]) for one in sheet["loads"][3]["steps"] if one["measure"]]
    assert last == ["2 lb + 14 oz wt", "0.5 gal + 1 cup + 1.5 fl oz + 0.5 tsp"]


def test_the_sheet_holds_the_amounts_that_the_order_froze_and_they_add_up(farm):
    order = copper_and_oil(farm)

    sheet = sheet_of(order)

    for product in order.totals:
        exact = [
            amount(step["exact"]["value"], step["exact"]["unit"])
            for load in sheet["loads"]
            for step in load["steps"]
            if step["product"] == product["id"]
        ]
        assert plain(sum(one.value for one in exact), 9) == product["exact"]["value"]
    for load in sheet["loads"]:
        water = [
            amount(step["exact"]["value"], "gal").value for step in load["steps"] if step["action"] == "fill"
        ]
        assert sum(water) == amount(load["water"]["value"], "gal").value


def test_a_sheet_on_paper_is_one_page_with_every_amount_and_the_way_back(farm):
    order = copper_and_oil(farm, instructions="Begin at the road.")

    (page,) = pages(printed(order, farm))

    for told in ("3 lb + 2 oz wt", "2 lb + 14 oz wt", "0.5 gal + 2 cup", "25 gal", "22.425 gal", "Load 4"):
        assert told in page
    assert ADDRESS in page and "Begin at the road." in page and "Keep out after the end: 48 h" in page


def test_a_sheet_in_spanish_says_the_same_amounts(farm):
    order = copper_and_oil(farm)

    page = words(printed(order, farm, "es"))

    for told in ("3 lb + 2 oz wt", "Mida, en este orden", "Póngase: camisa de manga larga", "(durazno)"):
        assert told in page
    assert "viernes" not in page and "vie 18 de diciembre de 2026, 10:00" in page


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize(("products", "loads"), [(1, 1), (6, 3), (20, 2), (12, 200)])
def test_long_mixes_stay_on_one_page_and_leave_no_amount_out(farm, products, loads, language):
    order = copper_and_oil(farm)
    sheet = sheet_of(order, language)
    full, last = sheet["loads"][0], sheet["loads"][3]
    sheet["loads"] = [{**full, "number": n} for n in range(1, loads)] + [{**last, "number": loads}]
    for load in sheet["loads"]:
        load["steps"] = [
            {
                **load["steps"][2],
                "step": place + 1,
                "name": f"Wettable product number {place} with a rather long name 80 WG",
                "measure": [{"value": f"{place + 1}.25", "unit": "cup"}, {"value": "1.5", "unit": "tsp"}],
            }
            for place in range(products)
        ]
    sheet["instructions"] = "Keep to the grass rows and mind the bees. " * 12

    (page,) = pages(printed(order, farm, language, sheet))

    for place in range(products):
        assert f"{place + 1}.25 cup" in page and f"number {place} with" in page


def test_the_same_order_gives_the_same_file_in_another_process_too(farm):
    order = copper_and_oil(farm)

    assert printed(order, farm) == printed(order, farm)
    script = (
        "from orchard.tasks.papers.paper import Paper\n"
        "import datetime as dt, hashlib, django\n"
        "django.setup()\n"
        "made = Paper(units='us', made_at=dt.datetime(2026, 1, 1, tzinfo=dt.UTC), title='x', language='en')\n"
        "made.flow('Krč 2.5 gal', 12)\n"
        "made.code('https://lowbell.example', x=10, y=40, size=20)\n"
        "print(hashlib.sha256(made.bytes()).hexdigest())\n"
    )
    seeds = [
        subprocess.run(
            [sys.executable, "-c", script],
            env={**os.environ, "PYTHONHASHSEED": seed, "DJANGO_SETTINGS_MODULE": "orchard.config.settings"},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    ]
    assert len(set(seeds)) == 1


def test_names_are_written_with_their_letters_and_what_cannot_be_is_owned_up_to(farm):
    farm.farm.emergency = "Krč, Jalapeño, Łódź, Ильин; 한국"
    order = copper_and_oil(farm)

    page = words(printed(order, farm))

    assert "Krč, Jalapeño, Łódź, Ильин" in page
    assert MISSING * 2 in page and "Some letters could not be printed" in page


def test_nobody_gets_a_sheet_for_a_draft_or_a_cancelled_order(farm):
    manager = Caller(farm.farm, "manager")
    order = draft(farm)

    refused = manager.get(f"work-orders/{order.id}/tank-sheet")

    assert (refused.status_code, codes(refused)) == (409, ["state_conflict"])
    assert manager.get(f"work-orders/{order.id}/tank-sheet.pdf").status_code == 409


def test_a_held_or_finished_order_says_so_on_its_sheet(farm):
    order = copper_and_oil(farm)
    for language, status, told in (
        ("en", "held", "HELD"),
        ("en", "done", "DONE"),
        ("es", "held", "DETENIDO"),
        ("es", "done", "TERMINADO"),
    ):
        order.status = status
        assert told in words(printed(order, farm, language=language))


@pytest.mark.parametrize("role", ["owner", "manager", "crew_lead", "crew_member", "storekeeper", "adviser"])
def test_everybody_of_the_farm_reads_a_sheet_in_their_language(farm, role):
    order = under_way(farm)
    caller = Caller(farm.farm, role)

    sheet = caller.get(f"work-orders/{order.id}/tank-sheet", accept_language="es")
    file = caller.get(f"work-orders/{order.id}/tank-sheet.pdf?language=es")

    assert (sheet.status_code, sheet.json()["language"]) == (200, "es")
    assert sheet.json()["url"] == f"http://testserver/farms/{farm.farm.id}/work/{order.id}"
    assert (file.status_code, file["Content-Type"]) == (200, "application/pdf")
    assert file.content.startswith(b"%PDF") and "Mida, en este orden" in words(file.content)
    assert caller.get(f"work-orders/{order.id}/tank-sheet?language=fr").status_code == 400


def test_work_that_is_no_spray_has_a_sheet_without_amounts(farm):
    order = draft(farm, kind="leaf_removal", sprayer=None, products=[], spray=None, targets=[])
    issue.issue(order=order, by=SYSTEM, now=farm.now)

    sheet = sheet_of(order)

    assert (sheet["loads"], sheet["before"], sheet["wear"]) == ([], [], [])
    assert "label is the law" not in words(printed(order, farm, sheet=sheet))


def test_times_on_paper_are_those_of_the_farm(farm):
    assert wording.moment(SPRAY_DAY.astimezone(dt.UTC), farm=farm.farm) == "Fri 18 Dec 2026, 10:00"


def test_a_load_that_needs_no_second_filling_keeps_its_amounts_in_their_rows(farm):
    sheet = sheet_of(copper_and_oil(farm))
    full, last = sheet["loads"][0], sheet["loads"][3]
    short = [step for step in last["steps"] if not (step["action"] == "fill" and step["step"] > 1)]

    rows = sheet_pdf.in_rows([full["steps"], short])

    assert [one["step"] if one else None for _, one in rows] == [1, 2, 3, 4, 5, 6, None, 8]
    assert all(one is None or one["product"] == first["product"] for first, one in rows)
