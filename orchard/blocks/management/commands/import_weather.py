"""`manage.py import_weather`: store hours or days of weather from a CSV or JSON file."""

from __future__ import annotations

import sys
import zoneinfo
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.db import transaction
from django.utils import timezone

from orchard.api.refusals import Fault, Unprocessable
from orchard.blocks import services, weather_files
from orchard.farms.commands import FarmCommand, farm_of

SHOWN = 20


class Command(FarmCommand):
    help = (
        "Store weather from a file, and print what was stored, what is missing and what is doubted. "
        "The form: see `orchard/blocks/weather_files.py`, or the body of POST weather/hours and weather/days."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--farm", required=True, help="id of the farm")
        parser.add_argument(
            "--file", required=True, help="path of the CSV or JSON file; - reads standard input"
        )
        parser.add_argument("--station", default="", help="name of the station")
        parser.add_argument("--kind", choices=weather_files.KINDS, help="where the file has no such column")
        parser.add_argument("--zone", help="IANA zone of local times; the farm's where absent")

    def do(self, **options: Any) -> dict[str, Any]:
        try:
            return self._stored(**options)
        except Unprocessable as wrong:
            raise CommandError("\n".join(_with_its_row(fault) for fault in wrong.faults)) from None

    def _stored(self, **options: Any) -> dict[str, Any]:
        farm = farm_of(options["farm"])
        found = weather_files.read(
            _text(options["file"]), zone=_zone(options["zone"] or farm.zone), kind=options["kind"]
        )
        store = services.store_hours if found.when == "at" else services.store_days
        now = timezone.now()
        services.refuse_what_is_to_come(farm=farm, rows=found.rows, now=now)
        with transaction.atomic():
            stored = store(farm=farm, station=options["station"], rows=found.rows, now=now)
        return {
            "stored": stored.rows,
            "what": "hours" if found.when == "at" else "days",
            "duplicates": found.duplicates,
            "gaps": [
                {"after": after.isoformat(), "before": before.isoformat()}
                for after, before in found.gaps[:SHOWN]
            ],
            "gaps_in_all": len(found.gaps),
            "questions": [
                {"row": one.place + 1, "name": one.name, "code": one.code, "says": one.says}
                for one in stored.doubts[:SHOWN]
            ],
            "questions_in_all": len(stored.doubts),
        }


def _with_its_row(fault: Fault) -> str:
    """Return a fault with where it stands; rows count from 1, the header is row 0."""
    path = fault.pointer.strip("/").split("/") if fault.pointer else []
    if path[:1] == ["items"] and path[1:]:
        path = [str(int(path[1]) + 1), *path[2:]]
    if not path or not path[0].isdecimal():
        return fault.detail
    if path[0] == "0":
        return f"header: {fault.detail}"
    return ", ".join([f"row {path[0]}", *path[1:2]]) + f": {fault.detail}"


def _text(path: str) -> str:
    try:
        return sys.stdin.read() if path == "-" else Path(path).read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as wrong:
        raise CommandError(f"{path} cannot be read: {wrong}") from None


def _zone(name: str) -> zoneinfo.ZoneInfo:
    try:
        return zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError):
        raise CommandError(f"{name} is no zone of the IANA list, such as America/Los_Angeles") from None
