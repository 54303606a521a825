"""The calendar as others see it: a strict reader of our own, written from the standard, and another library.

Source: RFC 5545, Internet Calendaring and Scheduling Core Object Specification, IETF, 2009, sections 3.1
(lines and folding), 3.3.5 (times), 3.6.1 (events) and 3.8.1.11 (status).
"""

import datetime as dt
import re
import zoneinfo

import pytest
import vobject

from tests.callers import Caller
from tests.factories import BlockFactory, CrewFactory, FarmFactory

pytestmark = pytest.mark.django_db
LONGEST = 75  # octets of a line, without its end
CONTENT = re.compile(r"([A-Za-z0-9-]+)((?:;[A-Za-z0-9-]+=(?:\"[^\"]*\"|[^\";:,]*))*):(.*)\Z", re.DOTALL)
ONCE = {"UID", "DTSTAMP", "DTSTART", "SEQUENCE", "STATUS", "SUMMARY"}
TITLE = "Contar las yemas: añada ñ, é; y una línea muy larga para la hoja — " + "ñé" * 60


def lines(raw):
    """Return the content lines, unfolded; demand ends, lengths and whole characters."""
    assert raw.endswith(b"\r\n")
    folded = raw[:-2].split(b"\r\n")
    assert not any(b"\n" in line or b"\r" in line for line in folded)
    assert max(len(line) for line in folded) <= LONGEST
    for line in folded:
        line.decode("utf-8")  # no letter is cut in two
    return re.sub(r"\r\n[ \t]", "", raw[:-2].decode("utf-8")).split("\r\n")


def events(raw):
    """Return name and value of each property, event by event; demand that components close as they open."""
    found, open_ = [], []
    for line in lines(raw):
        name, _, value = CONTENT.match(line).groups()
        if name == "BEGIN":
            open_.append(value)
            if value == "VEVENT":
                found.append({})
        elif name == "END":
            assert open_.pop() == value
        elif open_[-1] == "VEVENT":
            assert not (name in ONCE and name in found[-1])
            found[-1][name] = line
    assert open_ == []
    return found


def value(line):
    return CONTENT.match(line)[3]


def moment(line):
    """Return a time: in UTC, or of a zone that it names."""
    _, parameters, text = CONTENT.match(line).groups()
    at = dt.datetime.strptime(text.removesuffix("Z"), "%Y%m%dT%H%M%S")  # noqa: DTZ007
    if text.endswith("Z"):
        return at.replace(tzinfo=dt.UTC)
    return at.replace(tzinfo=zoneinfo.ZoneInfo(re.search(r"TZID=\"?([^;\":]+)", parameters)[1]))


def text(escaped):
    return re.sub(r"\\(.)", lambda found: "\n" if found[1] in "nN" else found[1], escaped)


@pytest.fixture
def manager():
    return Caller(FarmFactory(), "manager")


@pytest.mark.parametrize(
    ("starts_at", "utc"),
    [
        ("2027-03-14T01:30:00-08:00", (14, 9, 30)),  # half an hour before the clocks go forward there
        ("2027-03-14T03:30:00-07:00", (14, 10, 30)),  # and half an hour after
        ("2027-11-07T01:30:00-07:00", (7, 8, 30)),  # the first of the two half past ones
        ("2027-11-07T01:30:00-08:00", (7, 9, 30)),  # and the second
    ],
)
def test_a_strict_reader_takes_every_line_and_the_days_on_which_clocks_change(
    manager, client, starts_at, utc
):
    block, crew = BlockFactory(farm=manager.farm), CrewFactory(farm=manager.farm)
    body = {"kind": "scouting", "title": TITLE, "block": str(block.id), "crew": str(crew.id)}
    made = manager.post("work-orders", {**body, "starts_at": starts_at})
    path = f"work-orders/{made.json()['id']}"
    assert manager.act(path, "issue").status_code == 200
    address = manager.post("calendar-feeds", {"name": "Wall"}).json()["address"]

    theirs = vobject.readOne(client.get(address.removeprefix("http://testserver")).content.decode())
    [event] = events(client.get(address.removeprefix("http://testserver")).content)
    manager.act(path, "cancel", {"reason": "rain"})
    [cancelled] = events(client.get(address.removeprefix("http://testserver")).content)

    assert set(event) >= ONCE - {"STATUS"}
    assert text(value(event["SUMMARY"])) == TITLE
    at = moment(event["DTSTART"]).astimezone(dt.UTC)
    assert (at.day, at.hour, at.minute) == utc
    assert theirs.vevent.summary.value == TITLE and theirs.vevent.uid.value == value(event["UID"])
    assert theirs.vevent.dtstart.value.astimezone(dt.UTC) == moment(event["DTSTART"]).astimezone(dt.UTC)
    assert value(cancelled["STATUS"]) == "CANCELLED"
    assert value(cancelled["UID"]) == value(event["UID"])
    assert int(value(cancelled["SEQUENCE"])) > int(value(event["SEQUENCE"]))
