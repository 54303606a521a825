"""Guessing passwords comes to a halt, and tells nothing of who is known here."""

import hashlib
import statistics
import time

import pytest
from django.contrib.auth import base_user, hashers
from django.core.cache import cache
from django.test import Client

from orchard.api import counts
from tests.factories import PersonFactory

pytestmark = pytest.mark.django_db
PASSWORD = "four plum stones"


@pytest.fixture(autouse=True)
def nobody_has_tried_yet():
    cache.clear()


@pytest.fixture
def pim():
    person = PersonFactory(email="pim@lowbell.example")
    person.set_password(PASSWORD)
    person.save()
    return person


def tried(client, email, password):
    return client.post("/sign-in", {"username": email, "password": password})


def test_after_ten_wrong_passwords_not_even_the_right_one_is_tried(client, pim):
    wrong = [tried(client, pim.email, f"plum stones {n}").status_code for n in range(10)]
    halted = tried(client, pim.email.upper(), PASSWORD)

    assert wrong == [200] * 10
    assert (halted.status_code, halted["Retry-After"]) == (429, "900")
    assert "Wait a quarter of an hour" in halted.content.decode()
    assert f'value="{pim.email.upper()}"' in halted.content.decode()
    assert tried(client, "teo@lowbell.example", "wrong").status_code == 200


def test_an_email_in_wide_letters_is_the_same_email_and_is_not_tried_ten_times_more(client, pim):
    wide = pim.email.translate({ord(letter): ord(letter) + 0xFEE0 for letter in "pimlowbe.@"})
    assert tried(Client(), wide, PASSWORD).status_code == 302
    for n in range(10):
        tried(client, pim.email, f"plum stones {n}")

    assert tried(client, wide, PASSWORD).status_code == 429
    assert tried(client, f"  {pim.email}", PASSWORD).status_code == 429


def test_a_password_is_counted_before_it_is_looked_at(client, pim, monkeypatch):
    """Else twenty that are sent side by side would all be looked at while none is counted yet."""
    counted = []
    under = f"sign-in:{hashlib.sha256(pim.email.encode()).hexdigest()}"
    look = hashers.check_password
    monkeypatch.setattr(
        base_user, "check_password", lambda *a, **k: counted.append(counts.of(under)) or look(*a, **k)
    )

    tried(client, pim.email, "wrong")

    assert counted == [1]


def test_the_right_password_forgets_the_wrong_ones(client, pim):
    for _ in range(2):
        for n in range(9):
            tried(client, pim.email, f"plum stones {n}")
        assert tried(Client(), pim.email, PASSWORD).status_code == 302


def test_an_email_that_nobody_has_is_refused_as_slowly_in_the_same_words_and_is_counted(client, pim):
    def seconds(email):
        began = time.perf_counter()
        page = tried(Client(), email, "wrong")
        return time.perf_counter() - began, page.content.decode().replace(email, "…")

    known = [seconds(pim.email) for _ in range(5)]
    unknown = [seconds("nobody@lowbell.example") for _ in range(5)]

    ratio = statistics.median(s for s, _ in unknown) / statistics.median(s for s, _ in known)
    assert 0.4 < ratio < 2.5
    assert {text.count('role="alert"') for _, text in known + unknown} == {1}
    for n in range(5):
        tried(client, "nobody@lowbell.example", f"plum stones {n}")
    assert tried(client, "nobody@lowbell.example", "x").status_code == 429


def test_operators_come_in_by_the_same_door(client):
    assert client.get("/admin/login/?next=/admin/")["Location"] == "/sign-in?next=/admin/"
