"""Every text of pages and papers has its Spanish, with the same names in it, and is compiled."""

import gettext
import io
import re

import pytest

from tests import texts

BRACES = re.compile(r"\{\w+\}|%\(\w+\)[sd]")


def each(message):
    ids = message.id if isinstance(message.id, tuple) else (message.id,)
    told = message.string if isinstance(message.string, tuple) else (message.string,)
    return ids, told


def read(raw):
    """Return what a compiled catalogue says; its head names the edition of Babel that wrote it."""
    found = gettext.GNUTranslations(io.BytesIO(raw))._catalog
    assert len(found) > 1
    return {one: said for one, said in found.items() if one}


@pytest.mark.parametrize("app", texts.APPS)
def test_no_text_is_without_its_spanish(app):
    kept = texts.kept(app)

    for message in texts.found_in(app):
        if message.id:
            ids, _ = each(message)
            found = kept.get(ids[0], message.context)
            assert found is not None, f"{ids[0]!r}: python -m tests.texts"
            _, told = each(found)
            assert all(told) and len(told) == len(ids), f"{ids[0]!r} has no Spanish"


@pytest.mark.parametrize("app", texts.APPS)
def test_what_a_text_names_its_spanish_names_too(app):
    for message in texts.kept(app):
        if message.id:
            for one, told in zip(*each(message), strict=True):
                assert sorted(BRACES.findall(one)) == sorted(BRACES.findall(told)), one


@pytest.mark.parametrize("app", texts.APPS)
def test_the_compiled_catalogue_is_that_of_the_texts(app):
    path = texts.po_of(app).with_suffix(".mo")

    assert read(path.read_bytes()) == read(texts.compiled(texts.kept(app))), "python -m tests.texts"


@pytest.mark.parametrize("app", texts.APPS)
def test_no_text_hides_in_a_formatted_string_where_nobody_finds_it(app):
    for path in (texts.ORCHARD / app).rglob("*.py"):
        assert not re.search(r"""f["'][^"']*\{_\(""", path.read_text()), path
