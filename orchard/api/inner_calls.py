"""A call of an address from inside another: the same rights, checks, journals and answers."""

from __future__ import annotations

import io
from collections.abc import Mapping
from urllib.parse import urlsplit

from django.core.handlers.wsgi import WSGIRequest
from django.http import HttpRequest, HttpResponse
from django.urls import resolve
from django.utils import translation


def call(
    request: HttpRequest,
    path: str,
    raw: bytes,
    *,
    headers: Mapping[str, str],
    method: str,
) -> HttpResponse:
    """Send a JSON body to an address of the REST surface as whoever sent `request`; return its answer.

    The sender's own token against forgery was checked before. It is answered in the language in use.

    :raises Resolver404: where there is no such address
    """
    found = resolve(urlsplit(path).path)
    sent = {f"HTTP_{name.upper().replace('-', '_')}": value for name, value in headers.items()}
    inner = WSGIRequest(
        {
            **request.META,
            "HTTP_ACCEPT_LANGUAGE": translation.get_language() or "en",
            **sent,
            "REQUEST_METHOD": method,
            "PATH_INFO": path,
            "SCRIPT_NAME": "",
            "QUERY_STRING": "",
            "CONTENT_TYPE": "application/json",
            "CONTENT_LENGTH": str(len(raw)),
            "wsgi.input": io.BytesIO(raw),
        }
    )
    for name in ("user", "session"):
        if hasattr(request, name):
            setattr(inner, name, getattr(request, name))
    inner._dont_enforce_csrf_checks = True  # type: ignore[attr-defined]
    response: HttpResponse = found.func(inner, *found.args, **found.kwargs)
    if hasattr(response, "render"):
        response.render()
    return response
