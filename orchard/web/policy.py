"""What a page may load: files of this service and nothing else, no script or style written into a page.

Source: Content Security Policy Level 3, W3C, 2025 (from memory).
"""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
DOCUMENTED = POLICY.replace("style-src 'self'", "style-src 'self' 'unsafe-inline'")
"""For the pages of the operator and of the REST surface, which carry their own style."""

WITH_STYLE = ("/admin/", "/api/")


def content_policy(answer: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Return a middleware that sends the policy with every answer."""

    def with_policy(request: HttpRequest) -> HttpResponse:
        response = answer(request)
        policy = DOCUMENTED if request.path.startswith(WITH_STYLE) else POLICY
        response.headers.setdefault("Content-Security-Policy", policy)
        response.headers.setdefault("Permissions-Policy", "camera=(), microphone=(), geolocation=()")
        return response

    return with_policy
