"""Prove the audit: `manage.py verify_audit`."""

import json
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from orchard.farms import audit_chain
from orchard.farms.commands import farm_of


class Command(BaseCommand):
    help = (
        "Follow the audit of every farm entry by entry and compare each with its seal; ends with status 1 "
        "where an entry was changed, taken out, put in or exchanged, and names the place of each."
    )
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--farm", metavar="ID", help="one farm; all of them if absent")
        parser.add_argument(
            "--save", type=Path, metavar="FILE", help="keep where each audit ends now, to be stored elsewhere"
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
        broken = audit_chain.broken(farm=farm, kept=kept)
        for one in broken:
            self.stdout.write(str(one))
        if broken:
            raise SystemExit(1)
        heads, waiting = audit_chain.heads(farm=farm), audit_chain.not_sealed(farm=farm)
        if options["save"]:
            options["save"].write_text(json.dumps(heads, indent=1) + "\n")
        self.stdout.write(
            f"{len(heads)} farms, {sum(position for position, _ in heads.values())} entries: each says what "
            f"it said when it was sealed, in its place; {waiting} are not sealed yet."
        )


def _kept(file: Path) -> dict[str, audit_chain.Head]:
    try:
        return {id: (int(place), str(hash)) for id, (place, hash) in json.loads(file.read_text()).items()}
    except (OSError, ValueError, TypeError, AttributeError) as failure:
        raise CommandError(f"{file} does not hold what --save keeps: {failure}") from None
