"""A typed Python client is made from the document, loses nothing of it, and works a farm."""

from __future__ import annotations

import datetime as dt
import importlib
import json
import subprocess
import sys
from pathlib import Path
from uuid import UUID

import httpx
import pytest
from django.utils import timezone

from orchard.farms import services
from orchard.farms.actors import SYSTEM
from tests.clock import Clock
from tests.in_process import application
from tests.invented.farm import Invented, q

pytestmark = pytest.mark.django_db
SETTINGS = Path(__file__).with_name("typed_client.yaml")
PACKAGE = "orchard_client"


@pytest.fixture(scope="module")
def generated(tmp_path_factory):
    """What the generator printed, and the package that it wrote, as one that can be imported."""
    from django.test import Client  # noqa: PLC0415  (settings are ready only inside a test)

    folder = tmp_path_factory.mktemp("typed")
    document = folder / "openapi.json"
    document.write_bytes(Client().get("/api/v1/openapi.json").content)
    command = [
        str(Path(sys.executable).with_name("openapi-python-client")), "generate", "--path", str(document),
        "--config", str(SETTINGS), "--meta", "none", "--output-path", str(folder / PACKAGE),
    ]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)
    assert done.returncode == 0, done.stdout + done.stderr
    sys.path.insert(0, str(folder))
    yield done.stdout + done.stderr, folder, json.loads(document.read_text())
    sys.path.remove(str(folder))
    for name in [name for name in sys.modules if name.partition(".")[0] == PACKAGE]:
        del sys.modules[name]


@pytest.fixture
def farm(monkeypatch):
    return Invented("lowbell_hollow", Clock(monkeypatch, "2026-12-03 09:00"))


def module(name):
    return importlib.import_module(f"{PACKAGE}.{name}")


def model(name, **said):
    """Return one of the client's typed models, from what it would read."""
    found = module("models")
    return getattr(found, name).from_dict(said)


@pytest.fixture
def client(generated, farm):
    """A client of a partner who has a token, and calls the application itself."""
    made = services.add_token(farm=farm.farm, name="partner", role="manager", by=SYSTEM, now=timezone.now())
    return module("client").AuthenticatedClient(
        base_url="http://testserver",
        token=made.secret,
        raise_on_unexpected_status=True,
        httpx_args={"transport": httpx.WSGITransport(app=application())},
    )


def test_nothing_of_the_document_is_dropped(generated):
    printed, folder, document = generated
    operations = [one for methods in document["paths"].values() for one in methods.values()]
    written = {path.stem for path in (folder / PACKAGE / "api").rglob("*.py") if path.stem != "__init__"}

    assert "WARNING" not in printed and "Unable" not in printed and "omitted" not in printed, printed
    assert written == {one["operationId"] for one in operations}


def test_a_partner_pulls_the_schedule_and_reads_an_order_as_typed_models(client, farm):
    farm.look("A2", 97, "96")
    spray = {"products": farm.mix(("P1", "1.0", "oz_wt/gal")), "spray": {"volume_per_tree": q("1.4", "gal")}}
    path = farm.order("spray", "A2", "S-50", targets=["leaf curl"], **spray)
    farm.do(farm.pim, path, "issue")
    id = UUID(path.split("/")[1])

    page = module("api.schedule.get_schedule").sync(farm.farm.id, client=client)
    order = module("api.work_order.get_one_work_orders").sync(farm.farm.id, id, client=client)

    [item] = page.items
    assert (type(page).__name__, item.id, item.status) == ("ScheduleItemPage", id, "issued")
    assert (order.id, order.number, order.status) == (id, 1, "issued")
    assert [one["spray"]["value"] for one in order.loads_planned] == ["50", "50", "50", "46"]
    assert isinstance(order.starts_at, dt.datetime)


def test_a_partner_pushes_what_a_station_measured_and_a_stage(client, farm):
    body = model(
        "HoursInputRequest",
        station="gate",
        items=[{"at": farm.clock.moment(), "kind": "observed", "temperature": q("52", "degF")}],
    )
    seen = model("StageInputRequest", bbch=97, observed_on="2026-12-03", leaf_drop_percent="96")
    block = UUID(farm.blocks["A2"])

    stored = module("api.weather.post_weather_hours").sync(farm.farm.id, client=client, body=body)
    stage = module("api.stage_observation.post_blocks_stages").sync(
        farm.farm.id, block, client=client, body=seen
    )

    assert stored.stored == 1
    assert (stage.bbch, stage.observed_on) == (97, dt.date(2026, 12, 3))


def test_a_partner_checks_a_mix(client, farm):
    asked = model(
        "MixInputRequest",
        block=farm.blocks["A2"],
        sprayer=farm.sprayers["S-50"],
        products=farm.mix(("P1", "9.0", "oz_wt/gal")),
        spray={"total": q("50", "gal")},
        at=farm.clock.moment(),
    )

    check = module("api.mix_check.post_mix_checks").sync(farm.farm.id, client=client, body=asked)

    assert check.verdict == "stop"
    assert any(one["severity"] == "stop" for one in check.report["findings"])


def test_a_refusal_is_a_typed_problem(client, farm):
    get = module("api.block.get_one_blocks")

    missing = get.sync(farm.farm.id, UUID(int=1), client=client)

    assert (missing.status, [one.code for one in missing.errors]) == (404, ["not_found"])
