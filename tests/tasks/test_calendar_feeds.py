"""A crew's work in the calendar on somebody's phone, at an address that can be taken back."""

import datetime as dt

import icalendar
import pytest
from django.utils import timezone

from orchard.farms.models import CalendarFeed
from tests.callers import Caller, codes
from tests.factories import BlockFactory, CrewFactory, FarmFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def farm():
    return FarmFactory(name="Lowbell")


@pytest.fixture
def manager(farm):
    return Caller(farm, "manager")


def order(manager, crew=None, *, title="Count the buds", issued=True):
    block = BlockFactory(farm=manager.farm)
    starts = timezone.now().replace(microsecond=0) + dt.timedelta(days=2)
    body = {"kind": "scouting", "title": title, "block": str(block.id), "starts_at": starts.isoformat()}
    if crew:
        body["crew"] = str(crew.id)
    made = manager.post("work-orders", body)
    assert made.status_code == 201, made.content
    path = f"work-orders/{made.json()['id']}"
    if issued:
        assert manager.act(path, "issue").status_code == 200
    return path


def events(client, address):
    response = client.get(address.removeprefix("http://testserver"))
    assert response.status_code == 200, response.content
    assert response["Content-Type"].startswith("text/calendar")
    return {str(one["UID"]): one for one in icalendar.Calendar.from_ical(response.content).walk("VEVENT")}


def test_a_calendar_reads_the_schedule_without_a_token_and_without_drafts(manager, client):
    crew = CrewFactory(farm=manager.farm)
    path = order(manager, crew)
    order(manager, crew, title="Not yet told to anybody", issued=False)
    feed = manager.post("calendar-feeds", {"name": "Kitchen wall"})

    found = events(client, feed.json()["address"])

    assert [str(one["SUMMARY"]) for one in found.values()] == ["Count the buds"]
    assert list(found) == [path.removeprefix("work-orders/")]


def test_a_crews_calendar_has_that_crews_work_alone(manager, client):
    ours, theirs = CrewFactory(farm=manager.farm), CrewFactory(farm=manager.farm)
    order(manager, ours, title="Ours")
    order(manager, theirs, title="Theirs")
    feed = manager.post("calendar-feeds", {"name": "Crew one", "crew": str(ours.id)}).json()

    assert [str(one["SUMMARY"]) for one in events(client, feed["address"]).values()] == ["Ours"]
    assert feed["crew"] == str(ours.id)


def test_what_changes_in_the_calendar_has_a_higher_sequence_and_what_is_called_off_stays(manager, client):
    path = order(manager, CrewFactory(farm=manager.farm))
    address = manager.post("calendar-feeds", {"name": "Wall"}).json()["address"]
    uid = path.removeprefix("work-orders/")
    first = events(client, address)[uid]
    later = (timezone.now() + dt.timedelta(days=3)).replace(microsecond=0).isoformat()
    assert manager.patch(path, {"starts_at": later}).status_code == 200
    moved = events(client, address)[uid]
    manager.act(path, "cancel", {"reason": "rain all week"})
    off = events(client, address)[uid]

    assert int(first["SEQUENCE"]) < int(moved["SEQUENCE"]) < int(off["SEQUENCE"])
    assert moved["DTSTART"].dt.isoformat() != first["DTSTART"].dt.isoformat()
    assert (str(first["STATUS"]), str(off["STATUS"])) == ("CONFIRMED", "CANCELLED")


def test_an_address_is_shown_once_kept_as_a_hash_and_worthless_once_revoked(manager, client):
    feed = manager.post("calendar-feeds", {"name": "Wall"}).json()
    secret = feed["address"].rpartition("/")[2].removesuffix(".ics")

    assert secret not in str(CalendarFeed.objects.values().get())
    assert "address" not in manager.get(f"calendar-feeds/{feed['id']}").json()
    assert manager.delete(f"calendar-feeds/{feed['id']}").status_code == 204
    gone = client.get(f"/calendars/{secret}.ics")
    assert (gone.status_code, codes(gone)) == (404, ["not_found"])
    assert client.get("/calendars/nobody-made-this.ics").status_code == 404
    assert manager.get("calendar-feeds").json()["items"] == []


def test_a_crew_member_sees_and_revokes_only_feeds_of_their_own(farm, manager):
    member = Caller(farm, "crew_member")
    theirs = manager.post("calendar-feeds", {"name": "Office"}).json()
    own = member.post("calendar-feeds", {"name": "My phone"}).json()

    assert [one["id"] for one in member.get("calendar-feeds").json()["items"]] == [own["id"]]
    assert member.delete(f"calendar-feeds/{theirs['id']}", if_match='"x"').status_code == 404
    assert len(manager.get("calendar-feeds").json()["items"]) == 2
