"""What docker-compose.yml promises; there need not be a Docker engine to read it."""

import os
import secrets
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import yaml

CHECKOUT = Path(__file__).resolve().parents[2]
COMPOSE: dict[str, Any] = yaml.safe_load((CHECKOUT / "docker-compose.yml").read_text())
SERVICES: dict[str, dict[str, Any]] = COMPOSE["services"]
OURS = ("prepare", "web", "worker", "beat")


@pytest.mark.parametrize("name", sorted(SERVICES.keys() - {"prepare"}))
def test_each_service_that_stays_is_asked_how_it_is(name: str) -> None:
    assert SERVICES[name]["healthcheck"]["test"]


def test_the_owner_of_the_tables_prepares_them_and_answers_nothing() -> None:
    knowing = {name for name in OURS if "DATABASE_OWNER_URL" in SERVICES[name]["environment"]}

    assert knowing == {"prepare"}


@pytest.mark.parametrize("name", ["web", "worker", "beat"])
def test_nothing_starts_before_the_tables_are_there(name: str) -> None:
    assert SERVICES[name]["depends_on"]["prepare"] == {"condition": "service_completed_successfully"}


@pytest.mark.parametrize("name", OURS)
def test_our_processes_have_no_rights_to_lose(name: str) -> None:
    assert SERVICES[name]["cap_drop"] == ["ALL"]
    assert SERVICES[name]["read_only"] is True


def test_the_image_does_not_run_as_root() -> None:
    dockerfile = (CHECKOUT / SERVICES["web"]["build"]["dockerfile"]).read_text()

    assert "\nUSER orchard\n" in dockerfile


def test_only_the_pages_can_be_reached_and_from_this_machine_alone() -> None:
    published = {name: service["ports"] for name, service in SERVICES.items() if "ports" in service}

    assert published == {"web": ["127.0.0.1:${PORT:-8000}:8000"]}


@pytest.mark.parametrize("name", sorted(SERVICES))
def test_a_secret_is_in_a_file_that_its_service_alone_is_given(name: str) -> None:
    service = SERVICES[name]
    said = service.get("environment", {})

    assert not [one for one in said if "PASSWORD" in one and not one.endswith("_FILE")]
    assert "SECRET_KEY" not in said
    named = {value.removeprefix("/run/secrets/") for one, value in said.items() if one.endswith("_FILE")}
    assert named <= set(service.get("secrets", []))
    assert set(service.get("secrets", [])) <= COMPOSE["secrets"].keys()


def test_git_ignores_the_files_of_the_secrets() -> None:
    ignored = (CHECKOUT / ".gitignore").read_text().splitlines()

    assert {Path(one["file"]).parts[0] + "/" for one in COMPOSE["secrets"].values()} <= set(ignored)


@pytest.mark.parametrize("name", OURS)
def test_everything_that_compose_says_to_us_is_read(name: str) -> None:
    code = "".join(path.read_text() for path in (CHECKOUT / "orchard" / "config").glob("*.py"))
    for variable in SERVICES[name]["environment"]:
        assert f'"{variable.removesuffix("_FILE")}"' in code, variable


def test_the_settings_of_compose_pass_djangos_own_check_for_deployment(tmp_path: Path) -> None:
    environment = {
        name: value.split(":-")[-1].rstrip("}") for name, value in SERVICES["web"]["environment"].items()
    }
    for name, value in environment.items():
        if name.endswith("_FILE"):
            kept = tmp_path / Path(value).name
            kept.write_text(secrets.token_urlsafe(40) + "\n")
            environment[name] = str(kept)
    command = [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"]
    more = {"HTTPS": "1", "ALLOWED_HOSTS": "orchard.example", "PATH": os.environ["PATH"]}

    done = subprocess.run(
        command, cwd=CHECKOUT, env={**environment, **more}, capture_output=True, text=True, timeout=120
    )

    assert done.returncode == 0, done.stderr
    assert "no issues" in done.stdout
