import pytest
from uuid6 import uuid7

from orchard.api.permissions import INTEGRATION, OWNER, SCOPES, TABLE, allows
from orchard.farms.actors import Role
from tests.api.routes import routes
from tests.callers import Caller
from tests.factories import FarmFactory

ROUTES = sorted(routes(), key=lambda route: (route.pattern, route.method))
OF_A_FARM = [route for route in ROUTES if "<uuid:farm>" in route.pattern]
NAMED = [f"{route.method} {route.pattern.removeprefix('api/v1/')}" for route in OF_A_FARM]


def test_every_route_of_a_farm_stands_in_the_permission_table():
    missing = [route for route in OF_A_FARM if (route.resource, route.verb) not in TABLE]

    assert missing == []


def test_every_row_of_the_permission_table_is_asked_for_by_a_route():
    asked = {(route.resource, route.verb) for route in OF_A_FARM}

    assert set(TABLE) - asked == set()


@pytest.mark.django_db
def test_nobody_passes_without_a_token_and_no_stranger_learns_of_the_farm(client):
    farm, stranger = FarmFactory(), Caller(FarmFactory(), "owner")

    for route in ROUTES:
        response = client.generic(route.method, route.path(farm.id), "{}", content_type="application/json")
        assert response.status_code == 401, (route, response.content)
    for route in OF_A_FARM:
        assert stranger.call(route.method, route.path(farm.id), {}).status_code == 404, route
        assert stranger.call(route.method, route.path(uuid7()), {}).status_code == 404, route


@pytest.mark.django_db
@pytest.mark.parametrize("role", [role.value for role in Role if role != INTEGRATION])
def test_a_role_may_do_what_the_table_says_and_no_more(role):
    farm = FarmFactory()
    caller = Caller(farm, role)

    for route in OF_A_FARM:
        may = role == OWNER or role in TABLE[route.resource, route.verb].roles
        status = caller.call(route.method, route.path(farm.id), {}).status_code
        assert (status != 403) == may, (route, status)
        assert status < 500


@pytest.mark.django_db
@pytest.mark.parametrize("scope", SCOPES)
def test_an_integration_may_do_what_its_scope_says_and_no_more(scope):
    farm = FarmFactory()
    caller = Caller(farm, "integration", scopes=(scope,))

    for route in OF_A_FARM:
        may = allows(role="integration", scopes=frozenset([scope]), resource=route.resource, verb=route.verb)
        status = caller.call(route.method, route.path(farm.id), {}).status_code
        assert (status != 403) == may, (route, status)


@pytest.mark.django_db
@pytest.mark.parametrize("revoke", [True, False])
def test_a_dead_token_opens_nothing(revoke):
    farm = FarmFactory()
    caller = Caller(farm, "owner")
    caller.token.revoked_at = caller.token.created_at if revoke else None
    caller.token.expires_at = None if revoke else caller.token.created_at
    caller.token.save()

    for route in ROUTES:
        assert caller.call(route.method, route.path(farm.id), {}).status_code == 401, route
