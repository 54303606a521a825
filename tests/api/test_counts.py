"""What is counted over all web processes, and what happens while the place of the counts is gone."""

import subprocess
import sys
from pathlib import Path

import pytest
import redis
from django.test import override_settings

from orchard.api import counts
from orchard.config import caching
from tests.scheduling.test_workers import broker

__all__ = ["broker"]

pytestmark = pytest.mark.xdist_group("servers")
CHECKOUT = Path(__file__).resolve().parents[2]
ANOTHER = """
import sys
from django.conf import settings
from orchard.config import caching
settings.configure(CACHES=caching.caches(redis_url=sys.argv[1]))
from orchard.api import counts
print([counts.add("sign-in:pim", lasts_s=900) for _ in range(3)])
"""


@pytest.fixture(autouse=True)
def together(monkeypatch):
    monkeypatch.setattr(counts, "_alone_until", 0.0)
    monkeypatch.setattr(counts, "ALONE_S", 0.0)


def another_process(url):
    answer = subprocess.run(
        [sys.executable, "-c", ANOTHER, url], cwd=CHECKOUT, capture_output=True, text=True, check=True
    )
    return answer.stdout.strip()


def test_two_web_processes_count_together_and_each_alone_while_redis_is_gone(broker):
    with override_settings(CACHES=caching.caches(redis_url=broker)):
        assert another_process(broker) == "[1, 2, 3]"
        assert counts.add("sign-in:pim", lasts_s=900) == 4
        assert 0 < redis.from_url(broker).ttl("orchard:1:sign-in:pim") <= 900

        counts.forget("sign-in:pim")
        assert counts.of("sign-in:pim") == 0
        assert another_process(broker) == "[1, 2, 3]"

        redis.from_url(broker).shutdown(nosave=True)
        assert [counts.add("rate:teo", lasts_s=60) for _ in range(3)] == [1, 2, 3]


def test_without_redis_a_process_has_its_own_memory():
    assert caching.caches(redis_url="")["default"] == caching.caches(redis_url="")["alone"]
