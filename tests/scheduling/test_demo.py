"""The demonstration: a season through the services, and what it says held against the rows."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.db import transaction
from django.db.models import Sum

from mixing.quantities import parse_quantity
from orchard.blocks.models import ScoutingCount
from orchard.farms.models import AuditEntry, OutboxEvent
from orchard.inventory.models import Lot, Movement, Reservation
from orchard.tasks.models import ApplicationRecord, Load, WorkOrder
from scheduling.season import looking_back, run, setting, story


def lived(number: int = 1) -> tuple[setting.Season, str]:
    lines: list[str] = []
    season = setting.begin(number=number, out=lines.append)
    run.live(season)
    run.close(season)
    looking_back.look_back(season)
    return season, "\n".join(lines)


def refusals(season: setting.Season, action: str) -> set[str]:
    rows = AuditEntry.objects.for_farm(season.made.farm).filter(outcome="refused", action=action)
    return {code for row in rows for code in row.codes}


@pytest.fixture(scope="module")
def season_and_words(django_db_setup, django_db_blocker):
    """One season for all these tests, gone after them: none of them writes."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield lived()
        transaction.set_rollback(True)


def test_every_spray_of_the_plan_is_done_and_on_record(season_and_words):
    season, _ = season_and_words
    farm = season.made.farm

    done = WorkOrder.objects.for_farm(farm).filter(kind="spray", status="done")

    planned = sum(len(line.blocks) for line in story.script().lines)
    assert done.count() == planned
    assert ApplicationRecord.objects.for_farm(farm).filter(status="current").count() == planned
    assert not WorkOrder.objects.for_farm(farm).exclude(status__in=("done", "cancelled")).exists()


def test_the_ledger_accounts_for_every_load_once(season_and_words):
    season, _ = season_and_words
    farm = season.made.farm

    for product in season.made.products.values():
        told = sum(
            parse_quantity(lot["amount"]).in_base()
            for load in Load.objects.for_farm(farm)
            for one in load.products
            for lot in one["lots"]
            if one["product"] == str(product.id)
        )
        taken = Movement.objects.for_farm(farm).filter(kind="use", lot__product=product)
        assert -taken.aggregate(all=Sum("change_base"))["all"] == told
    assert set(Load.objects.for_farm(farm).values_list("stock", flat=True)) == {"posted"}


def test_what_is_on_hand_is_the_sum_of_the_movements_and_nothing_stays_promised(season_and_words):
    season, _ = season_and_words
    farm = season.made.farm

    for lot in Lot.objects.for_farm(farm):
        moved = Movement.objects.for_farm(farm).filter(lot=lot).aggregate(all=Sum("change_base"))["all"]
        assert lot.on_hand_base == moved
        assert lot.reserved_base == Decimal(0)
    assert not Reservation.objects.for_farm(farm).filter(status="open").exists()


def test_the_first_recipe_is_stopped_by_area_and_the_second_is_not(season_and_words):
    _, words = season_and_words
    first, second = words.split("Recipe: ")[1:3]

    assert "14.18 lb/acre" in first
    assert "label.rate-above-maximum" in first
    assert "11.82 lb/acre" in second.split("\n\n")[0]
    assert "label.rate-above-maximum" not in second.split("\n\n")[0]


def test_starts_are_refused_for_wind_rain_and_frost_with_the_engine_s_findings(season_and_words):
    season, words = season_and_words

    assert refusals(season, "start") == {"mix_stop"}
    for finding in ("weather.wind-above-10-mph", "label.rain-free", "weather.oil-frost-within-24-h"):
        assert finding in words


def test_leaves_that_hang_bud_colour_and_an_empty_shelf_refuse_an_issue(season_and_words):
    season, words = season_and_words

    refused = refusals(season, "issue")

    assert {"stage_condition_unmet", "stock_short", "mix_stop", "block_in_re_entry"} <= refused
    assert "label.stage" in words
    assert "short by 0.708 gal" in words


def test_the_same_end_told_twice_changes_nothing_and_another_one_is_refused(season_and_words):
    season, _ = season_and_words

    assert "possible_duplicate" in refusals(season, "finish")


def test_copper_of_the_year_is_what_the_records_hold(season_and_words):
    season, words = season_and_words

    for name, block in season.made.blocks.items():
        pounds = sum(
            parse_quantity(metal["amount"]).to("lb").value
            for record in ApplicationRecord.objects.filter(block=block, status="current")
            for product in record.body["products"]
            for metal in product.get("metal") or ()
        )
        shown = next(
            line for line in words.splitlines() if line.startswith(f"  {name}") and "18 lb/acre" in line
        )
        said = Decimal(shown.split("lb/acre")[0].split()[-1])
        assert abs(pounds / block.area.value - said) < Decimal("0.02")


def test_the_review_tells_each_block_with_what_was_counted_and_what_to_change(season_and_words):
    season, words = season_and_words
    _, review = words.split("What came of it")

    assert review.count("2 of 2 lines of the plan done, 2 of 2 sprays inside their stage window") == 3
    # 14 of 200 against 63 of 100, by Abbott: (63 - 7) / 63
    assert "88.89 % less leaf curl than in untreated trees" in review
    assert "so few were counted that it may be chance" in review  # 1 of 40 against 4 of 20
    assert "Some disease after a good season is normal" in review
    assert ScoutingCount.objects.for_farm(season.made.farm).count() == 6


def test_nothing_is_left_in_the_outbox(season_and_words):
    season, _ = season_and_words

    assert not OutboxEvent.objects.for_farm(season.made.farm).filter(processed_at=None).exists()


def test_a_second_run_makes_a_farm_of_its_own_with_the_same_season(season_and_words):
    _, first = season_and_words

    season, second = lived(number=2)

    assert season.made.farm.name.endswith(" 2")
    assert first.splitlines()[1:] == second.splitlines()[1:]
