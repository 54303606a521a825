"""What a phone needs to go on without a signal: the worker with its list of files, a key, two pages.

What is kept on a phone, and what that protects from, stands in the contributors' guide.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
from functools import cache
from pathlib import Path

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import reverse
from django.utils.translation import gettext as _

from orchard.web.doors import Visit, farm_page

FILES = Path(__file__).with_name("static") / "web"
SHELL = ("orchard.css", "crew.js", "queue.js", "store.js", "body.js", "door.js", "icon.svg")
"""What every page of a crew needs."""


@cache
def version() -> str:
    """Return a short hash of the files, so that a phone takes new ones when any has changed."""
    found = hashlib.sha256()
    for name in (*SHELL, "worker.js"):
        found.update((FILES / name).read_bytes())
    return found.hexdigest()[:12]


def worker(request: HttpRequest) -> HttpResponse:
    """Return the script that stands between the pages and the net; from the root, so that it sees all."""
    shell = [static(f"web/{name}") for name in SHELL]
    about = {
        "version": version(),
        "shell": shell,
        "offline": reverse("offline"),
        "out": reverse("signed-out"),
    }
    text = f"const ABOUT = {json.dumps(about)};\n" + (FILES / "worker.js").read_text(encoding="utf-8")
    response = HttpResponse(text, content_type="text/javascript; charset=utf-8")
    response["Cache-Control"] = "no-cache"
    return response


def manifest(request: HttpRequest) -> JsonResponse:
    """Return what a phone shows when the pages are kept on its first screen."""
    name = _("Orchard operations")
    icon = {"src": static("web/icon.svg"), "sizes": "any", "type": "image/svg+xml"}
    shown = {
        "name": name,
        "short_name": name.split()[0],
        "start_url": reverse("start"),
        "display": "standalone",
        "background_color": "#fbf7ee",
        "theme_color": "#2b1b2e",
        "icons": [icon],
    }
    return JsonResponse(shown, content_type="application/manifest+json")


def without_signal(request: HttpRequest) -> HttpResponse:
    """Show what a phone shows for a page that it does not have."""
    return render(request, "web/offline.html")


def signed_out(request: HttpRequest) -> HttpResponse:
    """Show the page that ends a session which was ended without a signal."""
    return render(request, "web/signed_out.html")


@farm_page("work_order")
def key(visit: Visit) -> HttpResponse:
    """Return the key that this person's queue is locked with on any phone, and a tag that tells whose it is.

    Both come from the service's secret and the person: the same at the next sign-in, and for nobody else.
    """
    response = JsonResponse(
        {
            "key": base64.b64encode(_derived(f"queue {visit.person.id}")).decode(),
            "tag": _derived(f"tag {visit.person.id}").hex()[:16],
        }
    )
    response["Cache-Control"] = "no-store"
    return response


def _derived(what: str) -> bytes:
    """Source: HMAC: Keyed-Hashing for Message Authentication, RFC 2104, IETF, 1997."""
    return hmac.new(settings.SECRET_KEY.encode(), what.encode(), hashlib.sha256).digest()
