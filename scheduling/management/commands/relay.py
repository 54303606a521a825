"""The background work of one machine: `manage.py relay`."""

from __future__ import annotations

import datetime as dt
import logging
import signal
import threading
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandParser
from django.db import DatabaseError, close_old_connections
from django.utils import timezone

from orchard.farms import outbox as set_aside
from scheduling import jobs, outbox, wake

log = logging.getLogger(__name__)

NO_DATABASE_SECONDS = 2.0
A_LOOK_SECONDS = 0.5
A_DAY = dt.timedelta(days=1)
FORECASTS_EVERY = dt.timedelta(hours=6)
SEALS_EVERY = dt.timedelta(minutes=1)


class Command(BaseCommand):
    help = (
        "Do what the outbox asks for until stopped: in this process, or with REDIS_URL by handing it to "
        "workers. --once does in this process all that is due, and ends."
    )
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--once", action="store_true", help="do all that is due, then end")
        parser.add_argument("--again", action="store_true", help="begin with what was set aside before")

    def handle(self, *_args: Any, **options: Any) -> None:
        if options["again"]:
            self.stdout.write(f"{set_aside.replay(now=timezone.now())} taken up again.")
        if options["once"]:
            done = outbox.drain()
            self.stdout.write(f"{done} done.")
            return
        stopped = threading.Event()
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, lambda *_: stopped.set())
        self._run(stopped)

    def _run(self, stopped: threading.Event) -> None:
        """Relay until stopped; what is being done then is finished first."""
        most = outbox.BATCH if settings.REDIS_URL else 1  # what is done here is done one by one
        beside = None if settings.REDIS_URL else False
        if not settings.REDIS_URL:
            threading.Thread(target=_do_what_takes_long, args=(stopped,), daemon=True).start()
        forgotten_at: dt.datetime | None = None
        forecast_at: dt.datetime | None = None
        sealed_at: dt.datetime | None = None
        ear = wake.Ear()
        while not stopped.is_set():
            close_old_connections()
            try:
                if forgotten_at is None or timezone.now() - forgotten_at > A_DAY:
                    jobs.forget_answers.apply()
                    jobs.free_long_held.apply()
                    forgotten_at = timezone.now()
                if forecast_at is None or timezone.now() - forecast_at > FORECASTS_EVERY:
                    jobs.forecast_buds.apply()
                    forecast_at = timezone.now()
                if sealed_at is None or timezone.now() - sealed_at > SEALS_EVERY:
                    jobs.seal_audit.apply()
                    sealed_at = timezone.now()
                sent = outbox.relay(send=jobs.send, now=timezone.now(), most=most, beside=beside)
                if not settings.REDIS_URL:  # with a broker the timer asks the workers
                    jobs.send_webhooks.apply()
                if not sent:
                    ear.wait(seconds=wake.SLICE_SECONDS, otherwise=stopped.wait)
            except DatabaseError as failure:
                log.warning("the database did not answer, it is asked again: %s", failure)
                stopped.wait(NO_DATABASE_SECONDS)
        ear.close()


def _do_what_takes_long(stopped: threading.Event) -> None:
    """Do beside the rest what takes long: loads go on to the store while a plan is made.

    Where the process ends in the middle, the work is taken up again by the next.
    """
    while not stopped.wait(A_LOOK_SECONDS):
        close_old_connections()
        try:
            while not stopped.is_set() and outbox.relay(
                send=jobs.send, now=timezone.now(), most=1, beside=True
            ):
                pass
        except DatabaseError as failure:
            log.warning("the database did not answer, it is asked again: %s", failure)
            stopped.wait(NO_DATABASE_SECONDS)
