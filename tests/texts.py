"""The texts of pages and papers and their Spanish: found in the code, kept in `locale`, compiled.

    python -m tests.texts

adds what is new to the catalogues (untranslated, so that the tests name it), drops what is gone, compiles.
Each app keeps its own catalogue; a person edits `django.po` only.
"""

from __future__ import annotations

import datetime as dt
import io
import os
from collections.abc import Iterator
from pathlib import Path

import django
from babel.messages import catalog, extract, mofile, pofile
from django.utils.translation.template import templatize

ORCHARD = Path(__file__).parents[1] / "orchard"
ROOT = ORCHARD.parent
APPS = {
    "api": ORCHARD / "api",
    "blocks": ORCHARD / "blocks",
    "crews": ORCHARD / "crews",
    "farms": ORCHARD / "farms",
    "inventory": ORCHARD / "inventory",
    "scheduling": ROOT / "scheduling",
    "tasks": ORCHARD / "tasks",
    "web": ORCHARD / "web",
}
PLURALS = [("Plural-Forms", "nplurals=2; plural=(n != 1);")]
"""Later editions of Babel count "un millón de" as a form of its own, which nothing here needs."""
SOME_DAY = dt.datetime(2026, 1, 1, tzinfo=dt.UTC)
KEYWORDS = {
    "gettext": None,
    "gettext_lazy": None,
    "ngettext": (1, 2),
    "gettext_noop": None,
    "noop": None,
    "pgettext": ((1, "c"), 2),
    "pgettext_lazy": ((1, "c"), 2),
    "npgettext": ((1, "c"), 2, 3),
    "_": None,
}


def po_of(app: str) -> Path:
    """Return where an app keeps its Spanish."""
    return APPS[app] / "locale" / "es" / "LC_MESSAGES" / "django.po"


def found_in(app: str) -> catalog.Catalog:
    """Return every text of an app's code and templates."""
    found = catalog.Catalog(fuzzy=False)
    for path, text in _sources(APPS[app]):
        place = path.relative_to(ORCHARD.parent).as_posix()
        for _line, message, _comments, context in extract.extract("python", io.BytesIO(text), KEYWORDS):
            found.add(message, locations=[(place, 0)], context=context)
    return found


def _sources(folder: Path) -> Iterator[tuple[Path, bytes]]:
    for path in sorted(folder.rglob("*.py")):
        if "migrations" not in path.parts:
            yield path, path.read_bytes()
    for path in sorted(folder.rglob("*.html")):
        yield path, templatize(path.read_text(encoding="utf-8"), origin=path.name).encode()


def kept(app: str) -> catalog.Catalog:
    """Return the Spanish that an app has."""
    path = po_of(app)
    if not path.exists():
        return catalog.Catalog(locale="es", domain="django")
    with path.open("rb") as file:
        return pofile.read_po(file, locale="es", domain="django")


def compiled(texts: catalog.Catalog) -> bytes:
    """Return what Django reads; no dates in it, so that the same texts give the same bytes."""
    out = io.BytesIO()
    texts.creation_date = texts.revision_date = SOME_DAY
    mofile.write_mo(out, texts)
    return out.getvalue()


def bring_up_to_date(app: str) -> catalog.Catalog:
    """Return the catalogue with what is new and without what is gone."""
    old, fresh = (
        kept(app),
        catalog.Catalog(
            locale="es", domain="django", project="orchard operations", charset="utf-8", fuzzy=False
        ),
    )
    fresh.mime_headers = PLURALS
    for message in sorted((one for one in found_in(app) if one.id), key=lambda one: str(one.id)):
        before = old.get(message.id if isinstance(message.id, str) else message.id[0], message.context)
        places = sorted({(place, None) for place, _ in message.locations})
        fresh.add(message.id, before.string if before else None, locations=places, context=message.context)
    return fresh


def write(app: str) -> None:
    """Write an app's catalogue and compile it."""
    texts, path = bring_up_to_date(app), po_of(app)
    path.parent.mkdir(parents=True, exist_ok=True)
    out = io.BytesIO()
    pofile.write_po(out, texts, width=110, omit_header=False, sort_output=True)
    lines = [
        line
        for line in out.getvalue().decode().splitlines()
        if not line.startswith(('"POT-Creation', '"PO-Revision', '"Generated', '"Last-Translator', '"Report'))
    ]
    path.write_text("\n".join(line for line in lines if not line.startswith("# ")) + "\n", encoding="utf-8")
    with path.open("rb") as file:
        path.with_suffix(".mo").write_bytes(compiled(pofile.read_po(file, locale="es", domain="django")))


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "orchard.config.settings")
    django.setup()
    for each in APPS:
        write(each)
        print(f"{each}: {sum(1 for one in kept(each) if one.id and not one.string)} texts without Spanish")
