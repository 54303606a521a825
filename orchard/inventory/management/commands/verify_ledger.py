"""Prove the ledger: `manage.py verify_ledger`."""

from typing import Any

from django.core.management.base import BaseCommand

from orchard.inventory import proof


class Command(BaseCommand):
    help = "Add up the ledger of every lot and compare; ends with status 1 where anything differs."
    requires_system_checks = []

    def handle(self, *_args: Any, **_options: Any) -> None:
        found = list(proof.differences())
        for difference in found:
            self.stdout.write(str(difference))
        if found:
            raise SystemExit(1)
        lots, movements = proof.counted()
        self.stdout.write(f"{lots} lots, {movements} movements: every balance is the sum of its movements.")
