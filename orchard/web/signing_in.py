"""Signing in, with a halt to guessing: after ten wrong passwords an e-mail rests for a quarter of an hour.

An e-mail that nobody has is counted and takes as long to refuse as any other, so nothing tells which exist.
"""

from __future__ import annotations

import hashlib
import unicodedata
from typing import Any

from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse

from orchard.api import counts

MOST_WRONG = 10
REST_S = 900


class SignIn(LoginView):
    """The page at which people sign in."""

    template_name = "web/sign_in.html"

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        tries = counts.add(
            self.counted_as(), lasts_s=REST_S
        )  # before it is tried: many may come side by side
        if tries <= MOST_WRONG:
            return super().post(request, *args, **kwargs)
        form = AuthenticationForm(request, initial={"username": request.POST.get("username", "")})
        shown = self.get_context_data(form=form, resting=True)
        return self.render_to_response(shown, status=429, headers={"Retry-After": str(REST_S)})

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        counts.forget(self.counted_as())
        return super().form_valid(form)

    def counted_as(self) -> str:
        """Return what an e-mail is counted under: the same for every way of writing it."""
        email = unicodedata.normalize("NFKC", self.request.POST.get("username", "")).strip().lower()
        return f"sign-in:{hashlib.sha256(email.encode()).hexdigest()}"
