"""A whole season over HTTP, played by four people and the owner who looks on, in a winter that was real.

The weather and the bud dates are those of Yeosu (Korea Meteorological Administration, see
`scheduling/season/README.md`); leaf counts, scouting counts and people are invented.
"""

import itertools
from decimal import Decimal

import pytest

from orchard.blocks import services as ground
from orchard.farms.actors import SYSTEM
from scheduling import outbox
from scheduling.reasons import rains
from scheduling.season import records, story
from tests.callers import codes
from tests.clock import Clock
from tests.invented.farm import Invented, q

pytestmark = pytest.mark.django_db
VALUES = ("minimum", "maximum", "wind", "rain")
CUT = records.load()


def as_posted(day, today):
    found = {name: getattr(day, name).as_json() for name in VALUES if getattr(day, name) is not None}
    return {
        "on": day.on.isoformat(),
        "kind": "observed" if day.on <= today else "forecast",
        "humidity_percent": str(day.humidity_percent),
        **found,
    }


def on_the_spot(day):
    """Return what the day's row says, as somebody with a meter tells it."""
    ahead = [one for one in CUT.weather if one.on >= day]
    dry = len(list(itertools.takewhile(lambda one: not rains(one.rain), ahead)))
    return {
        "wind": ahead[0].wind.as_json(),
        "temperature": {"value": str(round(ahead[0].mean.value, 1)), "unit": ahead[0].mean.unit},
        "humidity_percent": str(ahead[0].humidity_percent),
        "minimum_next_24h": ahead[1].minimum.as_json(),
        "rain_within_h": str(16 + 24 * (dry - 1)) if dry else "0",
        "people_out": True,
        "source": "daily values of the station",
    }


class Season:
    """The farm with its four people, going through the winter."""

    def __init__(self, clock):
        self.clock = clock
        self.farm = farm = Invented("lowbell_hollow", clock, since="2023-01-01")
        self.manager, self.lead, self.keeper, self.adviser = farm.pim, farm.teo, farm.odalys, farm.juniper

    def look(self, bbch, drops=("", "", "")):
        """The lead goes round the blocks."""
        for block, drop in zip(self.farm.blocks.values(), drops, strict=True):
            seen = {"bbch": bbch, "observed_on": self.clock.moment()[:10]}
            body = {**seen, "leaf_drop_percent": drop} if drop else seen
            self.farm.made(self.lead, f"blocks/{block}/stages", body)

    def planned(self, programme, until):
        """The manager asks for a plan; returns its drafts, first to start first."""
        asked = {"programme": programme, "from": self.clock.moment(), "until": until}
        run = self.manager.post("planning-runs", asked)
        assert run.status_code == 202, run.json()
        outbox.drain(now=self.clock.now)
        assert self.manager.get(run.json()["url"]).json()["status"] == "done"
        drafts = self.manager.get(f"work-orders?status=draft&programme={programme}").json()["items"]
        return sorted(drafts, key=lambda one: one["starts_at"])

    def buy_what_is_short(self):
        """The keeper buys what the plan lacks; returns how many products that were."""
        needs = self.keeper.get("purchase-needs").json()["items"]
        for need in needs:
            key = next(key for key, id in self.farm.products.items() if id == need["product"])
            number = f"{key}-{self.clock.moment()[:10]}"
            self.farm.receive(key, number, q("20", need["short"]["unit"]), supplier="Bramble & Daughter")
            price = {"amount": "120", "currency": "USD", "per": q("20", need["short"]["unit"])}
            assert self.keeper.patch(f"lots/{self.farm.lots[number]}", {"price": price}).status_code == 200
        return len(needs)

    def work(self, order):
        """The manager gives an order out, and the lead does it with the crew on its day."""
        path = f"work-orders/{order['id']}"
        self.farm.do(self.manager, path, "issue")
        self.farm.do(self.lead, path, "accept")
        if order["starts_at"] > self.clock.moment():
            self.clock.set(order["starts_at"][:16].replace("T", " "))
        day = self.clock.now.astimezone(self.clock.zone).date()
        observed = on_the_spot(day) if order["kind"] == "spray" else {}
        self.farm.do(self.lead, path, "start", {"observed": observed})
        self.farm.mix_all(self.farm.wren, path)
        self.clock.wait(hours=2)
        done = self.farm.do(self.lead, path, "finish", {"nothing_unusual": True} if observed else {})
        if order["kind"] == "spray":
            name = next(key for key, id in self.farm.sprayers.items() if id == order["sprayer"])
            self.farm.wash(self.lead, name)
        return done

    def count(self, block, found, of, untreated):
        body = {
            "target": "leaf curl",
            "method": "visual",
            "sample_size": of,
            "count": found,
            "observed_at": self.clock.moment(),
            "untreated": untreated,
        }
        self.farm.made(self.adviser, f"blocks/{self.farm.blocks[block]}/scouting", body)


@pytest.fixture
def season(monkeypatch):
    return Season(Clock(monkeypatch, "2023-11-20 09:00"))


def test_four_people_take_a_published_programme_through_a_real_winter(season):
    farm, clock = season.farm, season.clock
    days = {"station": "Yeosu", "items": [as_posted(day, clock.now.date()) for day in CUT.weather]}
    assert season.manager.post("weather/days", days).json() == {"stored": len(CUT.weather)}

    advice = {"from": "2023-11-01", "until": "2024-05-31", "volume_per_tree": q("1.25", "gal")}
    example = "programme-examples/leaf-curl-peach-nectarine/actions/adopt"
    programme = farm.made(season.adviser, example, {**advice, "status": "advice"})
    taken = season.manager.patch(f"programmes/{programme['id']}", {"status": "active"}).json()
    assert [line["kind"] for line in taken["lines"]] == ["spray", "spray", "scouting"]

    # leaves hang on: nothing is planned before they are down
    clock.set("2023-12-03 08:00")
    season.look(95, ("55", "80", "85"))
    by_hand = season.planned(programme["id"], clock.moment("2023-12-06 20:00"))
    assert {order["kind"] for order in by_hand} <= {"leaf_removal"}  # or taken off by hand: they wait
    for order in by_hand:
        farm.do(season.manager, f"work-orders/{order['id']}", "cancel", {"reason": "we wait for the wind"})

    clock.set("2023-12-07 08:00")
    season.look(95, ("92", "96", "98"))
    autumn = until_all_are_planned(season, programme["id"], "2023-12-20 20:00")
    assert len({order["block"] for order in autumn}) == 3
    for order in autumn:
        season.work(order)

    # bud swell
    clock.set("2024-02-12 08:00")
    season.look(0, ("", "", ""))
    told_by_the_workers(season)
    clock.set("2024-02-26 07:00")
    season.look(51, ("", "", ""))
    spring = until_all_are_planned(season, programme["id"], "2024-03-10 20:00")
    assert {order["block"] for order in spring} == set(farm.blocks.values())
    for order in spring:
        done = season.work(order)
        assert done["finished_at"][:10] <= "2024-03-10"  # the last safe day of that outlook

    # bud colour: nobody may any more
    clock.set("2024-03-25 09:00")
    season.look(57, ("", "", ""))
    late = farm.order(
        "spray",
        "A2",
        "S-50",
        products=farm.mix(("P1", "1.0", "oz_wt/gal")),
        spray={"volume_per_tree": q("1.25", "gal")},
        targets=["leaf curl"],
    )
    assert "mix_stop" in codes(season.manager.act(late, "issue"))
    farm.do(season.manager, late, "cancel", {"reason": "bud colour has come"})

    # what came of it
    clock.set("2024-04-22 09:00")
    season.look(70, ("", "", ""))
    for block, treated, untreated in (("A1", 9, 61), ("A2", 4, 58), ("A3", 2, 12)):
        season.count(block, treated, 200, False)
        season.count(block, untreated, 100, True)
    looks = season.planned(programme["id"], clock.moment("2024-04-29 20:00"))
    assert {order["kind"] for order in looks} == {"scouting"}
    for order in looks:
        season.work(order)

    reviewed(season, programme["id"])
    assert season.manager.act(f"programmes/{programme['id']}", "close").json()["status"] == "closed"
    looked_on(season)


def until_all_are_planned(season, programme, until):
    """Plan, buy what is short, and plan again, as a manager does."""
    drafts = [one for one in season.planned(programme, season.clock.moment(until)) if one["kind"] == "spray"]
    for _ in range(3):
        if len(drafts) == 3:
            return drafts
        for key, amount in (("P1", q("20", "lb")), ("P2", q("2.5", "gal"))):
            # the keeper fills the shelf: a plan takes nothing that is not there
            season.farm.receive(key, f"{key}-{len(season.farm.lots)}", amount)
        season.buy_what_is_short()
        drafts = season.planned(programme, season.clock.moment(until))
        drafts = [one for one in drafts if one["kind"] == "spray"]
    return drafts


def told_by_the_workers(season):
    """Store the outlook of the day, as the background work does."""
    seen = story.outlook(CUT, issued_on=season.clock.now.date())
    best = {one.event: one for one in seen.forecasts}
    names = ("predicted", "low80", "high80", "issued_on", "model")
    rows = [
        {name: getattr(one, name) for name in names} | {"event": one.event.value, "bbch": one.bbch}
        for one in best.values()
    ]
    for block in season.farm.blocks:
        ground.store_forecasts(
            block=season.farm.row(block),
            issued_on=seen.on,
            forecasts=rows,
            by=SYSTEM,
            now=season.clock.now,
        )


def reviewed(season, programme):
    found = season.adviser.get(f"season-review?programme={programme}").json()
    assert "Some disease after a good season is normal" in found["says"][0]
    assert len(found["blocks"]) == 3
    for block in found["blocks"]:
        assert [line["state"] for line in block["lines"]] == ["done", "done", "done"]
        assert [spray["in_window"] for spray in block["sprays"]] == [True, True]
        [metal] = block["metal"]
        records = season.manager.get(f"application-records?block={block['block']}").json()["items"]
        pounds = sum(
            Decimal(one["amount"]["value"]) * Decimal("0.3")
            for record in records
            for one in record["products"]
            if one["product"] == season.farm.products["P1"]
        )
        unit = records[0]["products"][0]["amount"]["unit"]
        by_hand = pounds / (16 if unit == "oz_wt" else 1)
        assert abs(Decimal(metal["amount"]["value"]) - by_hand) < Decimal("0.001")
        [result] = block["results"]
        assert result["efficacy_method"] == "abbott"
        assert Decimal(result["efficacy_percent"]) > 80
        assert Decimal(result["efficacy_low"]) > 0


def looked_on(season):
    """The owner looks through who did what."""
    entries, address = [], "audit?limit=500"
    while address:
        page = season.farm.head.get(address).json()
        entries += page["items"]
        address = page["next"]
    by_role = {(one["by"]["role"], one["action"]) for one in entries if one["outcome"] == "done"}
    assert {("manager", "issue"), ("crew_lead", "finish"), ("crew_member", "record_load")} <= by_role
    assert {("adviser", "adopt"), ("adviser", "create")} & by_role
    refused = [one for one in entries if one["outcome"] == "refused"]
    assert any("mix_stop" in one["codes"] for one in refused)
    for who in (season.lead, season.keeper, season.adviser):
        assert who.get("audit").status_code == 403
