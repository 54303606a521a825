"""Prove the ledger: `manage.py verify_ledger`."""

import json
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from orchard.farms.commands import farm_of
from orchard.inventory import proof
from orchard.inventory.models import Lot


class Command(BaseCommand):
    help = (
        "Follow the ledger of every lot line by line and compare hashes, balances and promises; ends with "
        "status 1 where anything differs, and names the first line that does not hold."
    )
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--farm", metavar="ID", help="one farm; all of them if absent")
        parser.add_argument(
            "--save",
            type=Path,
            metavar="FILE",
            help="keep where each ledger ends now, to be stored elsewhere",
        )
        parser.add_argument(
            "--against",
            type=Path,
            metavar="FILE",
            help="compare with what --save kept: nothing was rewritten",
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        farm = farm_of(options["farm"]) if options["farm"] else None
        kept = _kept(options["against"]) if options["against"] else {}
        reads = list(proof.ledgers(farm=farm, kept=kept))
        broken = {read.lot: read.fault for read in reads if read.fault is not None}
        found = [str(one) for one in (*proof.told(broken), *proof.promises(farm=farm))]
        heads = {str(read.lot): read.head for read in reads}
        there = {str(key) for key in Lot.objects.values_list("key", flat=True)}
        gone = sorted(kept.keys() - there)
        found += [f"Lot {key}: it is gone, its ledger had {kept[key][0]} lines." for key in gone]
        for difference in found:
            self.stdout.write(difference)
        if found:
            raise SystemExit(1)
        if options["save"]:
            options["save"].write_text(json.dumps(heads, indent=1) + "\n")
        self.stdout.write(
            f"{len(reads)} lots, {sum(read.lines for read in reads)} movements: every line follows from the "
            "one before, every balance is the sum of its movements."
        )


def _kept(file: Path) -> dict[str, proof.Head]:
    try:
        return {id: (int(length), str(head)) for id, (length, head) in json.loads(file.read_text()).items()}
    except (OSError, ValueError, TypeError, AttributeError) as failure:
        raise CommandError(f"{file} does not hold what --save keeps: {failure}") from None
