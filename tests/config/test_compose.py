"""What docker-compose.yml promises; there need not be a Docker engine to read it."""

from pathlib import Path
from typing import Any

import pytest
import yaml

CHECKOUT = Path(__file__).resolve().parents[2]
SERVICES: dict[str, dict[str, Any]] = yaml.safe_load((CHECKOUT / "docker-compose.yml").read_text())[
    "services"
]
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
