"""Who owns the tables and changes the audit behind one's back is found, with the place of each entry."""

import io
import json
import os
import random
import threading
import time

import pytest
from django.core.management import call_command
from django.db import connection, connections, transaction
from django.utils import timezone

from orchard.farms import audit_chain, journal
from orchard.farms.actors import SYSTEM
from orchard.farms.models import AuditEntry, AuditLink
from scheduling import jobs
from tests import database
from tests.factories import BlockFactory, FarmFactory

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])
MANY = 10_000
ROUNDS = int(os.environ.get("PROMISE_ROUNDS", "5"))


def renamed(block, *names):
    for name in names:
        with transaction.atomic():
            journal.change(block, by=SYSTEM, now=timezone.now(), name=name)


def sealed():
    database.until_all_is_final()
    return audit_chain.seal(now=timezone.now())


def tamper(*statements):
    """Do what only the owner of the tables can: set the triggers aside and change what is written."""
    with connections["owner"].cursor() as cursor:
        for table in ("farms_auditentry", "farms_auditlink"):
            cursor.execute(f"ALTER TABLE {table} DISABLE TRIGGER USER")
        for statement in statements:
            cursor.execute(statement)
        for table in ("farms_auditentry", "farms_auditlink"):
            cursor.execute(f"ALTER TABLE {table} ENABLE TRIGGER USER")


def verified(*options):
    out = io.StringIO()
    try:
        call_command("verify_audit", *map(str, options), stdout=out)
    except SystemExit as end:
        return end.code, out.getvalue()
    return 0, out.getvalue()


def at(position, farm):
    return AuditLink.objects.get(farm=farm, position=position).entry_id


@pytest.fixture
def block():
    """A block that was renamed six times, all of it sealed, beside another farm."""
    block = BlockFactory(farm=FarmFactory())
    renamed(BlockFactory(farm=FarmFactory()), "elsewhere")
    renamed(block, *"ABC")
    sealed()
    renamed(block, *"DEF")
    sealed()
    return block


def test_what_nobody_touched_holds_and_is_sealed_once(block):
    entries = AuditEntry.objects.filter(farm=block.farm).count()

    assert sealed() == 0
    assert verified("--farm", block.farm.id) == (
        0,
        f"1 farms, {entries} entries: each says what it said when it was sealed, in its place; 0 are not"
        " sealed yet.\n",
    )
    places = AuditLink.objects.filter(farm=block.farm).values_list("position", flat=True)
    assert list(places) == list(range(1, entries + 1))


SWAP = """
    UPDATE farms_auditentry AS entry SET {0} = other.{0} FROM farms_auditentry AS other
    WHERE (entry.id = '{one}' AND other.id = '{two}') OR (entry.id = '{two}' AND other.id = '{one}')
"""
LINKS_SWAPPED = """
    UPDATE farms_auditlink SET position = CASE entry_id WHEN '{one}' THEN -4 ELSE -3 END
        WHERE entry_id IN ('{one}', '{two}');
    UPDATE farms_auditlink SET position = -position WHERE position < 0
"""
TAKEN_OUT = """
    DELETE FROM farms_auditentry WHERE id = '{one}';
    DELETE FROM farms_auditlink WHERE entry_id = '{one}';
"""
PUT_IN = """
    INSERT INTO farms_auditentry (id, farm_id, at, transaction_number, by_kind, by_name, by_role, action,
        resource, outcome, codes)
    SELECT gen_random_uuid(), farm_id, at, transaction_number, by_kind, by_name, by_role, action, resource,
        outcome, codes
    FROM farms_auditentry WHERE id = '{one}'
"""
NOT_WHAT_IT_SAID = "it does not say what it said when it was sealed, or not after this entry"
TAMPERED = {
    "a name was changed": (
        "UPDATE farms_auditentry SET by_name = 'nobody' WHERE id = '{one}'",
        [(3, NOT_WHAT_IT_SAID)],
    ),
    "a time was changed": (
        "UPDATE farms_auditentry SET at = at - interval '1 microsecond' WHERE id = '{one}'",
        [(3, NOT_WHAT_IT_SAID)],
    ),
    "what stood there before was changed": (
        "UPDATE farms_auditentry SET before = before || '{{\"name\": \"Z\"}}' WHERE id = '{one}'",
        [(3, NOT_WHAT_IT_SAID)],
    ),
    "none became an empty text": (
        "UPDATE farms_auditentry SET reason = '' WHERE id = '{one}'",
        [(3, NOT_WHAT_IT_SAID)],
    ),
    "one was taken out": (
        "DELETE FROM farms_auditentry WHERE id = '{one}'",
        [(3, "the entry is gone")],
    ),
    "one was taken out with its seal": (
        TAKEN_OUT,
        [(4, "what stood before it is missing")],
    ),
    "it was taken out and the others moved up": (
        TAKEN_OUT
        + "UPDATE farms_auditlink SET position = position - 1 WHERE position > 3 AND farm_id = '{farm}'",
        [(3, NOT_WHAT_IT_SAID)],
    ),
    "two exchanged what they say": (
        SWAP.replace("{0}", "after"),
        [(3, NOT_WHAT_IT_SAID), (4, NOT_WHAT_IT_SAID)],
    ),
    "two exchanged their places": (
        LINKS_SWAPPED,
        [(3, NOT_WHAT_IT_SAID), (4, NOT_WHAT_IT_SAID), (5, NOT_WHAT_IT_SAID)],
    ),
    "one was put in between": (
        PUT_IN,
        [(None, "it was put in behind what is sealed")],
    ),
    "a seal was made anew": (
        "UPDATE farms_auditlink SET hash = sha256('x') WHERE entry_id = '{one}'",
        [(3, NOT_WHAT_IT_SAID), (4, NOT_WHAT_IT_SAID)],
    ),
    "an entry moved to another farm": (
        "UPDATE farms_auditentry SET farm_id = '{other}' WHERE id = '{one}'",
        [(3, NOT_WHAT_IT_SAID)],
    ),
}


@pytest.mark.parametrize("what", TAMPERED)
def test_what_the_owner_of_the_tables_changes_is_found_with_its_place(block, what):
    statement, wanted = TAMPERED[what]
    other = AuditEntry.objects.exclude(farm=block.farm).values_list("farm", flat=True)[0]

    one, two = at(3, block.farm), at(4, block.farm)
    tamper(statement.format(one=one, two=two, farm=block.farm.id, other=other))

    assert [(found.position, found.says) for found in audit_chain.broken()] == wanted
    status, printed = verified()
    assert status == 1
    assert printed.count(f"Farm {block.farm.id}: ") == len(wanted)
    assert verified("--farm", other)[0] == 0


def test_an_end_that_was_cut_off_or_written_anew_is_found_by_the_heads_that_were_kept(block, tmp_path):
    kept = tmp_path / "heads.json"
    assert verified("--save", kept)[0] == 0
    last, _ = json.loads(kept.read_text())[str(block.farm.id)]
    renamed(block, "G")
    sealed()
    assert verified("--against", kept)[0] == 0

    cut = f"farm_id = '{block.farm.id}' AND position >= {last}"
    ids = f"SELECT entry_id FROM farms_auditlink WHERE {cut}"
    tamper(f"DELETE FROM farms_auditentry WHERE id IN ({ids}); DELETE FROM farms_auditlink WHERE {cut}")
    assert verified()[0] == 0
    assert "it was sealed once and is gone" in verified("--against", kept)[1]

    renamed(block, "H")
    sealed()
    status, printed = verified("--against", kept)
    assert status == 1
    assert f"entry {last}" in printed
    assert "the audit was written anew" in printed


def test_an_entry_that_commits_late_is_sealed_after_those_before_it_and_keeps_nobody_waiting(block):
    written, go_on = threading.Event(), threading.Event()
    late = BlockFactory(farm=block.farm)
    sealed()

    def slow_writer():
        with transaction.atomic():
            journal.change(late, by=SYSTEM, now=timezone.now(), name="slow")  # takes the lower number …
            written.set()
            go_on.wait(30)  # … and commits last
        connection.close()

    slow = threading.Thread(target=slow_writer)
    slow.start()
    written.wait(30)
    renamed(block, "quick")

    while_it_runs = audit_chain.seal(now=timezone.now())
    waiting = audit_chain.not_sealed()
    go_on.set()
    slow.join()

    assert (while_it_runs, waiting) == (0, 1)
    assert sealed() == 2
    assert verified()[0] == 0
    last = AuditLink.objects.filter(farm=block.farm).order_by("-position")[:2]
    assert [AuditEntry.objects.get(id=one.entry_id).after["name"] for one in last] == ["quick", "slow"]


def test_two_that_seal_at_once_seal_each_entry_once(block):
    renamed(block, *map(str, range(40)))
    database.until_all_is_final()
    counted = []

    def sealing():
        counted.append(audit_chain.seal(now=timezone.now()))
        connection.close()

    both = [threading.Thread(target=sealing) for _ in range(2)]
    for one in both:
        one.start()
    for one in both:
        one.join()

    assert sum(counted) == 40
    assert verified()[0] == 0


def test_the_job_seals_and_the_head_goes_into_the_log_once_a_day(block, caplog):
    renamed(block, "G")
    database.until_all_is_final()
    assert jobs.seal_audit.apply().get() == 1
    assert caplog.records == []

    renamed(block, "H")
    database.until_all_is_final()
    audit_chain.seal(now=timezone.now() + timezone.timedelta(days=1))

    [head] = [one for one in caplog.records if one.message == "head of the audit"]
    assert (str(head.farm), head.position) == (
        str(block.farm.id),
        AuditLink.objects.filter(farm=block.farm).count() - 1,
    )
    assert bytes(AuditLink.objects.get(farm=block.farm, position=head.position).hash).hex() == head.hash


COPIES = """
    INSERT INTO farms_auditentry (id, farm_id, at, by_kind, by_id, by_name, by_role, action, resource,
        resource_id, before, after, outcome, codes)
    SELECT gen_random_uuid(), farm_id, at + turn * interval '1 second', by_kind, by_id, by_name, by_role,
        action, resource, resource_id, before, after || jsonb_build_object('trees', turn), outcome, codes
    FROM farms_auditentry, generate_series(1, {}) AS turn WHERE id = '{}'
"""


def test_each_of_ten_thousand_is_found_wherever_it_stands(block):
    tamper(COPIES.format(MANY, at(3, block.farm)))
    sealed()
    chance = random.Random(1)
    for position in (1, MANY, *(chance.randrange(1, MANY) for _ in range(ROUNDS))):
        entry = at(position, block.farm)
        for change, back in (
            ("after = jsonb_set(coalesce(after, '{}'), '{x}', '1')", "after = after - 'x'"),
            ("by_role = by_role || '.'", "by_role = rtrim(by_role, '.')"),
        ):
            tamper(f"UPDATE farms_auditentry SET {change} WHERE id = '{entry}'")
            assert [one.position for one in audit_chain.broken()] == [position]
            tamper(f"UPDATE farms_auditentry SET {back} WHERE id = '{entry}'")
    began = time.monotonic()
    assert audit_chain.broken() == []
    print(f"{AuditLink.objects.count() / (time.monotonic() - began):.0f} entries a second")
