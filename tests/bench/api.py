"""Whole requests for a page of 100, beside psycopg and orjson that give the same JSON.

A request goes through the WSGI application that gunicorn runs: middleware, token, farm, permission, page,
JSON. Both are asked in turns, each pair for the same page somewhere in the rows of one of ten farms. The same
requests go to a database with a tenth of the rows, and to the same rows as the role that owns the tables,
whom row-level security lets by. The collector of cycles is at work as in a web process.
"""

from __future__ import annotations

import dataclasses
import json
import os
import subprocess
import sys
import tempfile

from tests.bench.measure import Result

ORDERS, MOVEMENTS = 20_000, 100_000
"""The whole is ten times as much: filled in a few minutes by an idle machine."""


def results(*, orders: int = ORDERS, movements: int = MOVEMENTS) -> list[Result]:
    """Return the rows of the API family, measured by a process of its own on a server of its own.

    :param orders: work orders of all farms together
    :param movements: lines of the ledger of all farms together
    """
    with tempfile.TemporaryDirectory(prefix="orchard-bench-", ignore_cleanup_errors=True) as folder:
        environment = {k: v for k, v in os.environ.items() if not k.startswith(("DATABASE_", "REDIS_"))}
        environment |= {
            "ORCHARD_FOLDER": folder,
            "DJANGO_SETTINGS_MODULE": "orchard.config.settings",
            "RATE_LIMIT_PER_MINUTE": "1000000000",  # requests are counted, and there are never too many
        }
        told = subprocess.run(
            [sys.executable, "-m", "tests.bench.api", str(orders), str(movements)],
            env=environment,
            stdout=subprocess.PIPE,
            check=True,
        )
    return [
        Result(**{**row, "ratios": row["ratios"] and tuple(row["ratios"])}) for row in json.loads(told.stdout)
    ]


if __name__ == "__main__":
    import django
    from django.conf import settings

    django.setup()
    settings.ROOT_URLCONF = "tests.bench.api_urls"
    from tests.bench import api_work  # after the settings are read

    found = api_work.measured(orders=int(sys.argv[1]), movements=int(sys.argv[2]))
    json.dump([{f.name: getattr(row, f.name) for f in dataclasses.fields(row)} for row in found], sys.stdout)
