"""`python -m tests.bench [family ...] [--json FILE]`: one table, exit status 1 where a goal is missed.

A family is a module beside this one with `results() -> list[Result]`; `SIZES` names what it may be told.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import pkgutil
import sys
from pathlib import Path

import django

from tests.bench.measure import Result, table

FAMILIES = ("mixing", "ledger", "planner", "forecast", "api", "load")
SIZES = {"api": ("orders", "movements"), "load": ("connections", "seconds")}
HERE = Path(__file__).parent


def main() -> int:
    """Run the families named, or all there are, and return the exit status."""
    there = [
        name for name in FAMILIES if name in {module.name for module in pkgutil.iter_modules([str(HERE)])}
    ]
    parser = argparse.ArgumentParser(prog="python -m tests.bench")
    parser.add_argument("family", nargs="*", help=f"one of {', '.join(there)}; all of them if none is named")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the rows as JSON too")
    for family, names in SIZES.items():
        for name in names:
            parser.add_argument(f"--{name}", type=int, metavar="N", help=f"how many of them for {family}")
    said = parser.parse_args()
    unknown = sorted(set(said.family) - set(there))
    if unknown:
        parser.error(f"no family {', '.join(unknown)}; there are {', '.join(there)}")
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "orchard.config.settings")
    django.setup()
    results: list[Result] = []
    for family in said.family or there:
        sizes = {name: getattr(said, name) for name in SIZES.get(family, ()) if getattr(said, name)}
        results += importlib.import_module(f"tests.bench.{family}").results(**sizes)
    print(table(results))
    if said.json:
        said.json.write_text(json.dumps([result.as_json() for result in results], indent=2) + "\n")
    return 1 if any(result.met is False for result in results) else 0


if __name__ == "__main__":
    sys.exit(main())
