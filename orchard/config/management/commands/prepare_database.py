"""Bring the database up to date: `manage.py prepare_database`."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from orchard.config import preparation


class Command(BaseCommand):
    help = "Make the database if it is missing, its tables up to date, and give the web role its rights."
    requires_system_checks = []

    def handle(self, *_args: Any, **options: Any) -> None:
        try:
            changed = preparation.prepare(verbosity=int(options["verbosity"]) - 1)
        except preparation.CannotPrepare as reason:
            raise CommandError(str(reason)) from reason
        self.stdout.write("The database is up to date." if not changed else "The database is ready.")
