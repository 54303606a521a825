"""Serve a farm, let schemathesis ask for every operation of the document, and stop.

Refused are answers that the document does not have: a status, a media type, a body of another shape; and any
5xx. The seed is fixed, so that a finding comes back; `--examples` and `--seed` ask for more and for others,
`--only PATH` for the operations whose path contains it.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parents[2]
CHECKS = (
    "not_a_server_error",
    "status_code_conformance",
    "content_type_conformance",
    "response_schema_conformance",
)
FARM = ("--name", "Fuzz", "--zone", "America/Los_Angeles", "--units", "us", "--region", "US-CA")


def main() -> int:
    """Return 0 where every answer is as the document says."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--examples", type=int, default=50, help="an operation")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", metavar="PATH")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, served(Path(folder)) as (address, environment):
        farm = made(environment, "create_farm", *FARM)["id"]
        token = made(environment, "create_token", "--farm", farm, "--role", "owner")["token"]
        settings = Path(folder) / "schemathesis.toml"
        settings.write_text(f'[parameters]\n"path.farm" = "{farm}"\nfarm = "{farm}"\n')
        command = [
            "schemathesis", "--config-file", str(settings), "run", f"{address}api/v1/openapi.json",
            "-H", f"Authorization: Bearer {token}", "--phases", "examples,coverage,fuzzing",
            "--checks", ",".join(CHECKS), "--max-examples", str(asked.examples), "--seed", str(asked.seed),
            "--workers", "1", "--generation-database", "none", "--continue-on-failure",
        ]  # fmt: skip
        if asked.only:
            command += ["--include-path-regex", asked.only]
        program = Path(sys.executable).parent
        return subprocess.run(
            command, cwd=folder, env={**os.environ, "PATH": f"{program}{os.pathsep}{os.environ['PATH']}"}
        ).returncode


@contextlib.contextmanager
def served(folder: Path) -> Iterator[tuple[str, dict[str, str]]]:
    """Serve from an empty database of our own; give the address and the environment of its commands."""
    environment = {**os.environ, "ORCHARD_FOLDER": str(folder / "orchard"), "RATE_LIMIT_PER_MINUTE": "0"}
    for name in ("DATABASE_URL", "DATABASE_OWNER_URL", "REDIS_URL"):
        environment.pop(name, None)
    command = [sys.executable, "manage.py", "serve", "--port", "0"]
    with subprocess.Popen(
        command, cwd=CHECKOUT, env=environment, stdout=subprocess.PIPE, text=True
    ) as process:
        try:
            assert process.stdout is not None
            yield process.stdout.readline().split()[2], environment
        finally:
            process.terminate()
            process.wait(60)


def made(environment: dict[str, str], *command: str) -> dict[str, str]:
    """Return what a command of the console printed."""
    done = subprocess.run(
        [sys.executable, "manage.py", *command],
        cwd=CHECKOUT, env=environment, text=True, capture_output=True, check=True,
    )  # fmt: skip
    found: dict[str, str] = json.loads(done.stdout)
    return found


if __name__ == "__main__":
    raise SystemExit(main())
