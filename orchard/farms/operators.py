"""What an operator of the service may see: the rows of every farm, in the admin alone."""

from collections.abc import Callable

from django.http import HttpRequest
from django.http.response import HttpResponseBase

from orchard.farms import fence

ADMIN = "/admin/"


def operators_see_every_farm(
    answer: Callable[[HttpRequest], HttpResponseBase],
) -> Callable[[HttpRequest], HttpResponseBase]:
    """Open every farm for the admin's pages to a person who may operate the service."""

    def middleware(request: HttpRequest) -> HttpResponseBase:
        if not request.path.startswith(ADMIN) or not request.user.is_superuser:
            return answer(request)
        with fence.opened(fence.EVERY_FARM):
            response = answer(request)
            render = getattr(response, "render", None)
            return render() if render else response

    return middleware
