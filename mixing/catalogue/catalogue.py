"""Turns an id and its parameters into a sentence in English or Spanish.

English stands in `en.toml`, and for rows of the rule tables in the row itself (`says`, `why`, `do`), known
here as `rules.<id>.says` and so on. Spanish stands whole in `es.toml`. Names in braces are parameters; both
languages use the same ones. Nothing is read from disk until the first sentence is asked for.
"""

from __future__ import annotations

import string
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache, lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from mixing.catalogue.words import in_language

LANGUAGES = ("en", "es")
NO_PARAMETERS: Mapping[str, str] = MappingProxyType({})
HERE = Path(__file__).parent
RULES = HERE.parent / "rules"
ROW_TEXTS = ("says", "why", "do")
WORDS = "words"
PHRASES = "phrases"


class UnknownText(LookupError):
    """An id that the catalogue does not have, or a language that it does not speak."""


@dataclass(frozen=True, slots=True)
class Text:
    """A sentence not yet in a language: its id, and what its braces name."""

    id: str
    parameters: Mapping[str, str | Text] = field(default_factory=lambda: NO_PARAMETERS, hash=False)

    def render(self, language: str = "en") -> str:
        """Return the sentence in that language, with those that stand inside it."""
        if not self.parameters:
            return render(self.id, NO_PARAMETERS, language)
        told = {
            name: value if isinstance(value, str) else value.render(language)
            for name, value in self.parameters.items()
        }
        return render(self.id, told, language)


def said(text_id: str, /, **parameters: object) -> Text:
    """Return a sentence with what its braces name: numbers and names as text, None as nothing at all."""
    told = {
        name: value if isinstance(value, (str, Text)) else "" if value is None else str(value)
        for name, value in parameters.items()
    }
    return Text(text_id, told)


def render(id: str, parameters: Mapping[str, str] = NO_PARAMETERS, language: str = "en") -> str:
    """Return the sentence with its parameters filled in.

    :param id: id of the text, such as `order.note.dry` or `rules.stage.copper-after-bud-colour.says`
    :raises UnknownText: for an id or a language that is not there
    :raises KeyError: where a parameter that the text names is not given
    """
    try:
        template, names = _texts(language)[id]
    except KeyError:
        raise UnknownText(f"no text {id!r} in language {language!r}") from None
    return template.format_map(_in_language(parameters, language)) if names else template


@lru_cache(maxsize=4096)
def _row(id: str, language: str) -> tuple[tuple[str, frozenset[str]] | None, ...]:
    texts = _texts(language)
    if f"rules.{id}.says" not in texts:
        raise UnknownText(f"no text 'rules.{id}.says' in language {language!r}")
    return tuple(texts.get(f"rules.{id}.{name}") for name in ROW_TEXTS)


def render_row(id: str, parameters: Mapping[str, str], language: str) -> tuple[str | None, ...]:
    """Return what a row of the rule tables says, why, and what to do; None for what it leaves out.

    :raises UnknownText, KeyError: as `render`
    """
    said = _in_language(parameters, language)
    says, why, do = _row(id, language)
    return _filled(says, said), _filled(why, said), _filled(do, said)


def _filled(text: tuple[str, frozenset[str]] | None, said: Mapping[str, str]) -> str | None:
    if text is None:
        return None
    return text[0].format_map(said) if text[1] else text[0]


def has(id: str, language: str = "en") -> bool:
    """Say whether there is such a text; a rule without a reason has no `why`."""
    return id in _texts(language)


def template(id: str, language: str = "en") -> str | None:
    """Return a text with its braces open; None where there is none."""
    found = _texts(language).get(id)
    return found[0] if found else None


def word(kind: str, code: str, language: str = "en") -> str:
    """Return the name of a code (`gear`, `material` …); a code that nobody has named stands for itself."""
    found = _texts(language).get(f"{kind}.{code}")
    return found[0] if found else code.replace("_", " ")


def named(value: str, language: str = "en") -> str:
    """Return the name of a crop, target, metal or substance; what has none stands for itself."""
    if language == "en":
        return value
    known = _words(language)
    return known.get(value) or known.get(value.lower(), value)


def words(kind: str, codes: Iterable[str], language: str = "en") -> str:
    """Return the names of codes as one list: `steel, brass`."""
    return ", ".join(word(kind, code, language) for code in codes)


@lru_cache(maxsize=4096)
def parameters_of(template: str) -> frozenset[str]:
    """Return the names in braces of a text."""
    return frozenset(name for _, name, _, _ in string.Formatter().parse(template) if name)


@cache
def _texts(language: str) -> Mapping[str, tuple[str, frozenset[str]]]:
    if language not in LANGUAGES:
        raise UnknownText(f"no language {language!r}; there are {', '.join(LANGUAGES)}")
    plain = dict(
        _flat(
            {key: row for key, row in _toml(HERE / f"{language}.toml").items() if key not in (WORDS, PHRASES)}
        )
    )
    if language == "en":
        plain |= _row_texts()
    return {id: _template(text) for id, text in plain.items()}


def _in_language(parameters: Mapping[str, str], language: str) -> Mapping[str, str]:
    return parameters if language == "en" else in_language(parameters, _words(language), _phrases(language))


@cache
def _words(language: str) -> Mapping[str, str]:
    found: Mapping[str, str] = _toml(HERE / f"{language}.toml")[WORDS]
    return found


@cache
def _phrases(language: str) -> Mapping[str, str]:
    found: Mapping[str, str] = _toml(HERE / f"{language}.toml")[PHRASES]
    return found


def _template(text: str) -> tuple[str, frozenset[str]]:
    names = parameters_of(text)
    return (text, names) if names else (text.format(), names)


def _flat(table: Mapping[str, object], above: str = "") -> Iterable[tuple[str, str]]:
    for key, value in table.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{above}{key}.")
        elif isinstance(value, str):
            yield f"{above}{key}", value


def _row_texts() -> dict[str, str]:
    """Return the English of every row of the rule tables that has an id and something to say."""
    found: dict[str, str] = {}
    for path in sorted(RULES.glob("*.toml")):
        for rows in _toml(path).values():
            if not isinstance(rows, list):
                continue
            for row in rows:
                found |= {
                    f"rules.{row['id']}.{name}": row[name]
                    for name in ROW_TEXTS
                    if "id" in row and name in row
                }
    return found


def _toml(path: Path) -> dict[str, Any]:
    with path.open("rb") as file:
        return tomllib.load(file)
