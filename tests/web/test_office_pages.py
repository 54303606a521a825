"""The pages of those who plan and keep the store: what they read, and what a form of theirs does."""

import datetime as dt
import re
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from orchard.blocks import services as block_services
from orchard.blocks.models import Block, StageForecast
from orchard.crews.models import Sprayer
from orchard.farms import journal
from orchard.farms.actors import SYSTEM
from orchard.inventory.models import LabelVersion, Lot, Product, Shortage
from orchard.tasks.models import Load, WorkOrder
from orchard.tasks.services import loads
from tests.factories import FarmFactory, amount
from tests.tasks.lowbell import draft, lowbell, under_way
from tests.web.people import at_the_pages, member

pytestmark = pytest.mark.django_db
HOUR = dt.timedelta(hours=1)
PAGES = ("season", "plan", "mix", "store", "people", "records", "first-steps")


@pytest.fixture
def farm():
    return lowbell(now=timezone.now() - HOUR)


@pytest.fixture
def nia(farm):
    return at_the_pages(member(farm.farm, "manager", name="Nia"))


def at(farm, page):
    return f"/farms/{farm.farm.id}/{page}"


def text(response):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.content.decode()))


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("language", ["en", "es"])
def test_every_office_page_opens_on_a_full_and_on_an_empty_farm(farm, page, language):
    for where in (farm.farm, FarmFactory()):
        manager = at_the_pages(member(where, "manager", language=language))

        response = manager.get(f"/farms/{where.id}/{page}")

        assert response.status_code == 200
        assert f'<html lang="{language}"' in response.content.decode()


@pytest.mark.parametrize("page", PAGES)
def test_a_crew_member_does_not_read_the_office(farm, page):
    wren = at_the_pages(member(farm.farm, "crew_member", worker=farm.wren))
    stranger = at_the_pages(member(FarmFactory(), "manager"))

    allowed = {"mix", "store", "records", "season"}  # what everybody may read over the REST surface too
    assert wren.get(at(farm, page)).status_code == (200 if page in allowed else 403)
    assert stranger.get(at(farm, page)).status_code == 404


def test_the_season_shows_what_was_seen_what_is_expected_and_what_is_to_be_done(farm, nia):
    today = timezone.now().date()
    ahead = today + dt.timedelta(days=20)
    journal.insert(
        StageForecast,
        farm=farm.farm,
        by=SYSTEM,
        now=farm.now,
        block=farm.a2,
        event="first_bloom",
        bbch=60,
        predicted=ahead,
        low80=ahead - dt.timedelta(days=5),
        high80=ahead + dt.timedelta(days=6),
        issued_on=today,
        model="by hand",
    )
    draft(farm)
    page = nia.get(at(farm, "season"))

    told = text(page)
    assert "Spray, A2" in told
    assert (
        f"BBCH 60 expected {ahead - dt.timedelta(days=5)} to {ahead + dt.timedelta(days=6)}, 8 in 10" in told
    )
    assert page.content.decode().count('class="mark draft"') == 1
    assert page.content.decode().count('class="expected"') == 1


def test_what_was_closed_or_expected_last_year_is_not_told_as_if_it_were_to_come(farm, nia):
    last_year = (timezone.now() - dt.timedelta(days=365)).astimezone(ZoneInfo(farm.farm.zone)).date()
    Block.objects.filter(key=farm.a2.key).update(
        re_entry_until=timezone.now() - dt.timedelta(days=365), harvest_not_before=last_year
    )
    journal.insert(
        StageForecast,
        farm=farm.farm,
        by=SYSTEM,
        now=farm.now,
        block=farm.a2,
        event="first_bloom",
        bbch=60,
        predicted=last_year,
        low80=last_year,
        high80=last_year,
        issued_on=last_year,
        model="by hand",
    )

    told = text(nia.get(at(farm, "season")))

    assert f"{last_year.day} {last_year:%b} {last_year.year}" not in told  # the end of re-entry
    assert last_year.isoformat() not in told
    assert "BBCH 60 expected" not in told


@pytest.mark.parametrize(
    ("days", "told", "not_told"), [(-3, "Expired on", "expires"), (3, "expires", "expired")]
)
def test_the_store_says_of_an_old_jug_that_it_expired_and_of_another_that_it_will(
    farm, nia, days, told, not_told
):
    day = timezone.now().astimezone(ZoneInfo(farm.farm.zone)).date() + dt.timedelta(days=days)
    Lot.objects.for_farm(farm.farm).update(expires_on=day)

    page = text(nia.get(at(farm, "store")))

    assert told in page
    assert not_told not in page


def test_in_spanish_the_numbers_of_the_chart_keep_their_points(farm):
    maestro = at_the_pages(member(farm.farm, "manager", language="es"))
    draft(farm)

    chart = maestro.get(at(farm, "season")).content.decode()

    assert not re.search(r'(x|y|x1|width)="\d+,\d', chart)


def test_a_draft_is_issued_from_the_plan_or_says_what_stands_against_it(farm, nia):
    order = draft(farm)
    issued = nia.post(at(farm, f"plan/{order.id}/issue"))
    assert issued.status_code == 302, text(issued)
    order.refresh_from_db()
    assert order.status == "issued"

    strong = draft(farm, rate="1.2")
    refused = nia.post(at(farm, f"plan/{strong.id}/issue"))
    assert refused.status_code == 409
    assert "lb/acre" in text(refused)
    strong.refresh_from_db()
    assert strong.status == "draft"

    assert nia.post(at(farm, f"plan/{strong.id}/cancel")).status_code == 302
    strong.refresh_from_db()
    assert strong.status == "cancelled"


def test_a_plan_asked_for_without_a_season_plan_keeps_what_was_typed(farm, nia):
    answer = nia.post(at(farm, "plan"), {"programme": "", "from": "soon", "until": "2027-02-01"})

    assert answer.status_code == 422
    assert WorkOrder.objects.count() == 0


def test_the_mix_page_says_stop_with_its_reason_and_keeps_the_form(farm, nia):
    copper = Product.objects.for_farm(farm.farm).order_by("created_at").first()
    body = {
        "block": str(farm.a2.id),
        "sprayer": str(farm.backpack.id),
        "spray.total.value": "4",
        "spray.total.unit": "gal",
        "products.0.product": str(copper.id),
        "products.0.rate.value": "1",
        "products.0.rate.unit": "lb/acre",
        "stage.bbch:int": "65",
    }
    late = nia.post(at(farm, "mix"), body)
    missing = nia.post(at(farm, "mix"), {**body, "products.0.rate.value": "1,5", "block": ""})

    assert late.status_code == 200
    assert "Do not spray this." in text(late)
    assert 'value="65"' in late.content.decode()
    assert missing.status_code == 422
    assert 'value="1,5"' in missing.content.decode()
    assert "Write a number with a point" in text(missing)


def test_five_steps_lead_from_an_empty_farm_to_a_first_checked_mix():
    farm = FarmFactory(units="us", region="US-CA")
    owner = at_the_pages(member(farm, "owner"))
    page = f"/farms/{farm.id}/first-steps"
    steps = [
        {"step": "block", "name": "Lower terrace", "crop": "peach", "trees:int": "140"}
        | {"row_spacing.value": "18", "row_spacing.unit": "ft", "tree_spacing.value": "18"}
        | {"tree_spacing.unit": "ft"},
        {"step": "sprayer", "name": "Old blue", "kind": "backpack", "tank.value": "4", "tank.unit": "gal"},
        {"step": "product", "name": "Copper hydroxide WG", "stock_unit": "lb"},
        {
            "step": "label",
            "effective_from": timezone.localdate(timezone=ZoneInfo(farm.zone)).isoformat(),
            "label.name": "Copper hydroxide WG",
            "label.active_ingredients.0.name": "copper hydroxide",
            "label.active_ingredients.0.content.value": "53.8",
            "label.active_ingredients.0.content.unit": "percent_ww",
            "label.formulation": "WG",
            "label.signal_word": "caution",
            "label.uses.0.crops.0": "peach",
            "label.uses.0.rate.maximum.value": "2",
            "label.uses.0.rate.maximum.unit": "oz_wt/gal",
            "label.uses.0.re_entry.value": "48",
            "label.uses.0.re_entry.unit": "h",
            "label.uses.0.pre_harvest.unit": "d",
        },
    ]
    for step in steps:
        assert f'value="{step["step"]}"' in owner.get(page).content.decode()
        answer = owner.post(page, step)
        assert answer.status_code == 302, text(answer)

    assert Block.objects.get().name == "Lower terrace"
    product, sprayer = Product.objects.get(), Sprayer.objects.get()
    assert LabelVersion.objects.get().product == product
    assert "Check a mix" in text(owner.get(page))
    checked = owner.post(
        f"/farms/{farm.id}/mix",
        {
            "block": str(Block.objects.get().id),
            "sprayer": str(sprayer.id),
            "spray.total.value": "12",
            "spray.total.unit": "gal",
            "products.0.product": str(product.id),
            "products.0.rate.value": "1.5",
            "products.0.rate.unit": "oz_wt/gal",
            "stage.bbch:int": "1",
        },
    )
    assert checked.status_code == 200
    assert "Load 3" in text(checked)


def test_a_wrong_step_keeps_what_was_typed_and_says_so_beside_the_field():
    farm = FarmFactory()
    owner = at_the_pages(member(farm, "owner"))

    answer = owner.post(
        f"/farms/{farm.id}/first-steps", {"step": "block", "name": "", "crop": "peach", "trees:int": "many"}
    )

    shown = answer.content.decode()
    assert answer.status_code == 422
    assert 'value="many"' in shown and "This is needed." in shown
    assert Block.objects.count() == 0


def test_records_lead_to_their_page_to_print(farm, nia):
    under_way(farm)

    assert "Nothing is on file yet" in text(nia.get(at(farm, "records")))


def test_a_block_shows_its_forecast_drawn_with_the_same_in_numbers_and_its_review(farm, nia):
    ahead = timezone.now().date() + dt.timedelta(days=30)
    for event, bbch, days in (("budburst", 7, 0), ("first_bloom", 60, 12)):
        on = ahead + dt.timedelta(days=days)
        low, high = on - dt.timedelta(days=5), on + dt.timedelta(days=6)
        odds = {"predicted": on, "low80": low, "high80": high, "issued_on": timezone.now().date()}
        named = {"event": event, "bbch": bbch, "model": "by hand", "block": farm.a2}
        journal.insert(StageForecast, farm=farm.farm, by=SYSTEM, now=farm.now, **named, **odds)

    page = nia.get(at(farm, f"season/{farm.a2.id}"))

    assert page.status_code == 200
    assert page.content.decode().count("<svg") == 1
    assert str(ahead) in text(page)
    assert "What to change next year" in text(page)
    assert "style=" not in page.content.decode()
    assert nia.get(at(farm, f"season/{FarmFactory().id}")).status_code == 404


def test_the_season_says_by_what_its_dates_go_and_when_they_are_old(farm, nia):
    today = timezone.now().date()
    model = "warmth and notes; fitted to 53 stations in Korea only"
    odds = {"predicted": today, "low80": today, "high80": today + dt.timedelta(days=9)}
    for event, bbch, ago in (("budburst", 53, 0), ("first_bloom", 60, 9)):
        named = {"event": event, "bbch": bbch, "model": model, "block": farm.a2}
        issued = {"issued_on": today - dt.timedelta(days=ago)}
        journal.insert(StageForecast, farm=farm.farm, by=SYSTEM, now=farm.now, **named, **odds, **issued)

    said = text(nia.get(at(farm, "season")))
    block = text(nia.get(at(farm, f"season/{farm.a2.id}")))
    maestro = at_the_pages(member(farm.farm, "manager", language="es"))

    assert f"What is expected goes by: {model}" in said
    assert "Nia" in said, "who is signed in stands above"
    assert "what has come since is not in it" in said and "what has come since is not in it" in block
    assert "stations in Korea" not in text(maestro.get(at(farm, "season")))


def test_a_block_without_a_forecast_says_so(farm, nia):
    assert "Nothing is forecast for this block yet" in text(nia.get(at(farm, f"season/{farm.a3.id}")))


def test_a_draft_is_moved_to_another_time_of_the_farm(farm, nia):
    order = draft(farm)
    page = at(farm, f"plan/{order.id}/move")

    assert nia.post(page, {"starts_at": "2027-01-29 08:30"}).status_code == 302
    order.refresh_from_db()
    assert order.starts_at.isoformat() == "2027-01-29T16:30:00+00:00"

    wrong = nia.post(page, {"starts_at": "next Friday"})
    assert wrong.status_code == 422
    order.refresh_from_db()
    assert order.starts_at.isoformat() == "2027-01-29T16:30:00+00:00"


def test_a_block_whose_forecast_is_refused_says_why(farm, nia):
    refused = {"code": "out_of_season", "facts": {}}
    block_services.store_forecasts(
        block=farm.a3, issued_on=farm.now.date(), refused=refused, by=SYSTEM, now=farm.now
    )

    said = text(nia.get(at(farm, f"season/{farm.a3.id}")))

    assert "No date for now: buds are forecast from October to June." in said


def test_the_open_hours_of_a_draft_are_drawn_with_numbers_and_reasons_and_a_word_on_an_old_forecast(
    farm, nia
):
    order = draft(farm)
    page = at(farm, f"plan/{order.id}/hours")
    assert "unknown is not open" in text(nia.get(page))
    assert "more than a day old" not in text(nia.get(at(farm, "plan")))
    start = timezone.now().replace(minute=0, second=0, microsecond=0)
    hours = [
        {
            "at": start + dt.timedelta(hours=hour),
            "kind": "forecast",
            "temperature": amount("50", "degF"),
            "wind": amount("15" if hour < 2 else "5", "mph"),
            "rain": amount("0", "mm"),
        }
        for hour in range(40)
        if hour != 20
    ]
    block_services.store_hours(farm=farm.farm, station="", rows=hours, now=start - dt.timedelta(days=2))

    seen = nia.get(page)

    assert seen.content.decode().count("<svg") == 1
    assert "style=" not in seen.content.decode()
    assert "The forecast is more than a day old" in text(seen)
    assert "The forecast is more than a day old" in text(nia.get(at(farm, "plan")))
    assert "15 mph is above 10 mph" in text(seen)
    assert "no weather hours are stored: not known, and unknown is not open" in text(seen)
    maestro = at_the_pages(member(farm.farm, "manager", language="es"))
    spanish = text(maestro.get(page))
    assert "El pronóstico tiene más de un día desde" in spanish and "Horas abiertas y cerradas" in spanish
    assert "viento 15 mph, por encima de 10 mph" in spanish
    assert nia.get(at(farm, f"plan/{FarmFactory().id}/hours")).status_code == 404


@pytest.fixture
def short(farm):
    """A load took a pound more of copper than there ever was."""
    order = under_way(farm, farm.a3, sprayer=farm.backpack, total="4")
    loads.record_load(
        order=order,
        number=1,
        spray=amount("4", "gal"),
        products=[
            {"product": farm.copper, "lots": [{"lot": farm.first_lot, "amount": amount("10.5", "lb")}]}
        ],
        by=SYSTEM,
        now=farm.now,
    )
    loads.deduct_load(load=Load.objects.get(), by=SYSTEM, now=farm.now)
    return Shortage.objects.get()


@pytest.mark.parametrize(
    ("language", "told"),
    [("en", "1 lb more than the book had"), ("es", "1 lb más de lo que había en el libro")],
)
def test_the_store_asks_about_a_load_that_took_more_than_the_book_had(farm, short, language, told):
    odalys = at_the_pages(member(farm.farm, "storekeeper", language=language))

    page = odalys.get(at(farm, "store"))

    assert told in text(page) and ", A3" in text(page) and "C-2201" in text(page)
    answered = odalys.post(at(farm, f"store/questions/{short.id}"), {"answer": "A bag stood in the van."})
    assert answered.status_code == 302
    short.refresh_from_db()
    assert short.answer == "A bag stood in the van."
    assert told not in text(odalys.get(at(farm, "store")))


def test_an_answer_without_a_word_is_asked_for_again_and_a_second_one_is_refused(farm, short):
    odalys = at_the_pages(member(farm.farm, "storekeeper"))
    page = at(farm, f"store/questions/{short.id}")

    empty = odalys.post(page, {"answer": ""})
    assert empty.status_code == 422
    assert "This is needed." in text(empty) and 'aria-invalid="true"' in empty.content.decode()

    assert odalys.post(page, {"answer": "A bag stood in the van."}).status_code == 302
    assert odalys.post(page, {"answer": "No, in the shed."}).status_code == 409
    short.refresh_from_db()
    assert short.answer == "A bag stood in the van."


def test_a_crew_reads_the_question_and_is_offered_no_answer(farm, short):
    teo = at_the_pages(member(farm.farm, "crew_lead", worker=farm.lead))
    stranger = at_the_pages(member(FarmFactory(), "manager"))
    page = at(farm, f"store/questions/{short.id}")

    read = teo.get(at(farm, "store"))

    assert "1 lb more than the book had" in text(read) and "store/questions" not in read.content.decode()
    assert teo.post(page, {"answer": "mine"}).status_code == 403
    assert stranger.post(page, {"answer": "mine"}).status_code == 404
    short.refresh_from_db()
    assert short.answer is None
