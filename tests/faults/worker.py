"""A worker whose clock is hours off: `python -m tests.faults.worker HOURS [options of celery worker]`."""

from __future__ import annotations

import datetime as dt
import os
import sys

from django.utils import timezone

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "orchard.config.settings")


def main() -> None:
    """Shift the clock that our code reads, then be a worker."""
    right, off = timezone.now, dt.timedelta(hours=int(sys.argv[1]))
    timezone.now = lambda: right() + off
    from scheduling.celery import app  # noqa: PLC0415  # with the clock as it is now

    app.worker_main(["--quiet", "worker", *sys.argv[2:]])


if __name__ == "__main__":
    main()
