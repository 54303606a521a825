"""Where this machine has a Chromium, and what is missing where it has none."""

from __future__ import annotations

import importlib.util
import os
import shutil
from pathlib import Path

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
REQUIRED = "BROWSER_TESTS_REQUIRED"
"""Set where the tests must not pass without a browser."""


def path() -> str | None:
    """Return the Chromium of this machine: the one CHROMIUM names, one on the path, or Playwright's own."""
    named = os.environ.get("CHROMIUM")
    if named:
        return named
    found = next(filter(None, map(shutil.which, NAMES)), None)
    if found:
        return found
    own = sorted(Path.home().glob(".cache/ms-playwright/chromium-*/chrome-linux*/chrome"))
    return str(own[-1]) if own else None


def missing() -> str | None:
    """Return one line that says what is not run and how to get it; None where all is there."""
    if not all(map(importlib.util.find_spec, ("playwright", "axe_playwright_python"))):
        return "tests/browser did not run: install the extra `test` (Playwright)."
    if path() is None:
        return "tests/browser did not run: no Chromium. `apt-get install chromium`, or name one in CHROMIUM."
    return None
