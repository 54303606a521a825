"""Those who sign in at the pages of Lowbell Hollow."""

from __future__ import annotations

from typing import Any

from django.test import Client

from tests.factories import MembershipFactory, PersonFactory


def member(
    farm: Any, role: str = "crew_lead", *, worker: Any = None, language: str = "en", name: str = "Teo"
) -> Any:
    """Return somebody who may sign in on a farm."""
    person = PersonFactory(name=name)
    return MembershipFactory(farm=farm, person=person, name=name, role=role, worker=worker, language=language)


def at_the_pages(one: Any) -> Client:
    """Return a browser in which somebody has signed in."""
    client = Client(raise_request_exception=False)
    client.force_login(one.person)
    return client
