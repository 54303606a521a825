"""What is wrong with a form is said in Spanish, beside the field and on top, and what was typed stays."""

import datetime as dt
import re

import pytest
from django.utils import timezone

from orchard.farms.actors import SYSTEM
from orchard.tasks.models import Load
from orchard.tasks.services import issue
from tests.callers import Caller
from tests.factories import FarmFactory
from tests.tasks.lowbell import draft, lowbell, under_way
from tests.web.people import at_the_pages, member
from tests.web.test_crew_pages import CALM

pytestmark = pytest.mark.django_db
ENGLISH = re.compile(r"\b(?:the|this|that|write|say|holds|before|is|are)\b")


@pytest.fixture
def farm():
    return lowbell(now=timezone.now() - dt.timedelta(hours=1))


@pytest.fixture
def teo(farm):
    return at_the_pages(member(farm.farm, worker=farm.lead, language="es"))


@pytest.fixture
def nia(farm):
    return at_the_pages(member(farm.farm, "manager", name="Nia", language="es"))


def at(farm, order, action):
    return f"/farms/{farm.farm.id}/work/{order.id}/{action}"


def on_top(answer):
    """Return what the alert of the form that was sent says."""
    shown = answer.content.decode()
    alerts = re.findall(r'<div role="alert" class="wrong">(.*?)</div>', shown, re.S)
    return " ".join(re.sub(r"<[^>]+>", " ", " ".join(alerts)).split())


def beside(answer):
    """Return what stands beside each field."""
    return dict(
        re.findall(r'<p class="error" id="[a-z_-]+?-f-([\w-]+)-e">(.*?)</p>', answer.content.decode())
    )


def test_a_load_larger_than_the_tank_names_the_tank_and_what_to_do(farm, teo):
    order = under_way(farm)
    told = {
        "number:int": "1",
        "spray.value": "999",
        "spray.unit": "gal",
        "products.0.product": str(farm.copper.id),
    }

    answer = teo.post(at(farm, order, "record_load"), told)

    assert answer.status_code == 422 and Load.objects.count() == 0
    assert 'value="999"' in answer.content.decode()
    said = beside(answer)["spray"]
    assert said.startswith("El tanque de") and said.endswith("gal: anote cada tanque como una carga")
    assert said in on_top(answer) and "Vea lo que está marcado abajo." in on_top(answer)
    assert not ENGLISH.search(on_top(answer))


def test_a_start_with_people_in_the_block_says_so_at_its_tick(farm, teo):
    order = issue.issue(order=draft(farm), by=SYSTEM, now=farm.now)
    teo.post(at(farm, order, "accept"), {"revision:int": "1"})
    told = {**CALM, "observed.people_out:bool": "false", "observed.wind.value": "4"}

    answer = teo.post(at(farm, order, "start"), told)

    assert answer.status_code == 409
    assert 'name="observed.wind.value" inputmode="decimal" autocomplete="off" value="4"' in (
        answer.content.decode()
    )
    assert beside(answer)["observed-people_out"] == (
        "Todavía hay alguien en la parcela: que salgan todos primero"
    )
    assert not ENGLISH.search(on_top(answer))


def test_an_action_that_the_state_does_not_allow_names_the_state_in_spanish(farm, nia):
    order = under_way(farm)

    answer = nia.post(at(farm, order, "accept"), {"revision:int": "1"})

    assert answer.status_code == 409
    assert on_top(answer).startswith("La orden está en el estado «en marcha»; ahora se puede: ")


def test_a_wrong_first_step_keeps_what_was_typed():
    farm = FarmFactory()
    owner = at_the_pages(member(farm, "owner", language="es"))
    told = {"step": "block", "name": "", "crop": "peach", "trees:int": "many"}

    answer = owner.post(f"/farms/{farm.id}/first-steps", told)

    assert answer.status_code == 422 and 'value="many"' in answer.content.decode()
    assert beside(answer) == {
        "name": "Esto es necesario.",
        "trees": "Escriba un número entero, sin comillas y sin punto",
    }
    assert "Número de árboles: Escriba un número entero" in on_top(answer)


def test_a_browser_in_another_language_does_not_change_the_page(farm, teo):
    order = under_way(farm)

    answer = teo.post(at(farm, order, "finish"), {}, headers={"accept-language": "en"})

    assert answer.status_code == 409 or answer.status_code == 422
    assert not ENGLISH.search(on_top(answer))


def test_a_draft_without_a_crew_is_not_issued_and_the_plan_says_why(farm, nia):
    order = draft(farm, crew=None)

    answer = nia.post(f"/farms/{farm.farm.id}/plan/{order.id}/issue")

    assert answer.status_code == 409
    assert "No dice quién lo hace: nombre una cuadrilla" in on_top(answer)


def test_over_http_details_are_english_unless_spanish_is_asked_for(farm):
    manager = Caller(farm.farm, "manager")
    order = draft(farm, crew=None)

    english = manager.act(f"work-orders/{order.id}", "issue").json()["errors"][0]["detail"]
    spanish = manager.act(f"work-orders/{order.id}", "issue", accept_language="es").json()["errors"][0]

    assert english == "nobody is to do this: name a crew"
    assert spanish["detail"] == "no dice quién lo hace: nombre una cuadrilla"
    assert spanish["code"] == "crew_missing" and "untranslated" not in spanish
