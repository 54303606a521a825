"""Read all rule tables, report every fault of all of them at once, and say which version they are."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from itertools import combinations
from pathlib import Path
from typing import Any

from mixing.findings import Basis
from mixing.rulebook.rows import Rule, Source
from mixing.rulebook.schema import SCHEMA, TABLES, TEXT_TABLES, read_row, read_sources
from mixing.rulebook.values import Fault

HEAD_KEYS = frozenset(["schema", "reviewed", "sources", "rule"])


class RulebookFaults(ValueError):
    """The tables cannot be used: every fault of every file, one a line."""

    def __init__(self, faults: tuple[str, ...]) -> None:
        super().__init__("the rule tables have faults:\n" + "\n".join(faults))
        self.faults = faults


class Tables:
    """What the files of a folder hold, and what is wrong with them."""

    def __init__(self) -> None:
        self.rules: list[Rule] = []
        self.sources: dict[str, Source] = {}
        self.raw: dict[str, Mapping[str, Any]] = {}
        self.faults: list[str] = []
        self._hash = hashlib.sha256()

    @property
    def version(self) -> str:
        """The first 16 hexadecimal digits of the SHA-256 of all files, in the order of their names."""
        return self._hash.hexdigest()[:16]

    def add_file(self, path: Path) -> None:
        """Read one table; its faults are kept with the file's name before them."""
        content = path.read_bytes()
        self.note(path.name, content)
        try:
            raw = tomllib.loads(content.decode("utf-8"))
        except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
            self.faults.append(f"{path.name}: cannot be read as TOML: {error}")
            return
        self.raw[path.stem] = raw
        self.faults.extend(f"{path.name}: {fault}" for fault in self._read(raw, path.stem))

    def note(self, name: str, content: bytes) -> None:
        """Count a file in the version."""
        self._hash.update(name.encode() + b"\0" + content + b"\0")

    def _read(self, raw: Mapping[str, Any], table: str) -> Iterator[Fault]:
        yield from _head_faults(raw, table)
        known: set[str] = set()
        for source in read_sources(raw.get("sources", {})):
            if isinstance(source, Fault):
                yield source
                continue
            known.add(source.key)
            if self.sources.setdefault(source.key, source) != source:
                yield Fault(f"sources.{source.key}: another table has a different source of that name")
        for row in raw.get("rule", ()):
            for found in read_row(row, table=table, sources=frozenset(known)):
                if isinstance(found, Fault):
                    yield found
                else:
                    self.rules.append(found)
        if table in TABLES or table in TEXT_TABLES:  # of the others, whoever reads them checks the rest
            yield from _unused(raw, known)

    def check_together(self) -> None:
        """Add the faults that only show when all tables are seen together."""
        seen: dict[str, str] = {}
        for rule in self.rules:
            if rule.id in seen:
                self.faults.append(f"{rule.table}.toml: rule {rule.id}: {seen[rule.id]}.toml has that id too")
            seen[rule.id] = rule.table
        self.faults.extend(_contradictions(self.rules))


def _head_faults(raw: Mapping[str, Any], table: str) -> Iterator[Fault]:
    if raw.get("schema") != SCHEMA:
        yield Fault(f"schema must be {SCHEMA}")
    if not isinstance(raw.get("reviewed"), date):
        yield Fault("reviewed is missing: a date such as 2026-11-25")
    if table in TABLES or table in TEXT_TABLES:
        for extra in sorted(set(raw) - HEAD_KEYS):
            yield Fault(f"there is no key {extra!r}")
        if not raw.get("rule"):
            yield Fault("the table has no rules")


def _unused(raw: Mapping[str, Any], known: Iterable[str]) -> Iterator[Fault]:
    used = {row.get("source") for row in raw.get("rule", ())}
    for key in sorted(set(known) - used):
        yield Fault(f"sources.{key}: no rule points at it")


def _contradictions(rules: list[Rule]) -> Iterator[str]:
    """Rows of the same case: twins, contradictions of one source, rivals that do not say they are."""
    same: dict[tuple[str, object], list[Rule]] = {}
    for rule in rules:
        if not rule.retired and rule.table in TABLES:
            same.setdefault((rule.table, rule.when), []).append(rule)
    for group in same.values():
        for one, other in combinations(group, 2):
            names = f"{one.table}.toml: rules {one.id} and {other.id}"
            if one.source == other.source and one.basis is not Basis.PRACTICE:
                what = "contradict each other" if one.severity != other.severity else "say the same"
                yield f"{names} {what}: same case, same source"
            elif one.about != other.about:
                yield f"{names} speak of the same case: give both the same `about`"


def read_folder(folder: Path, *, also: Iterable[Path] = ()) -> Tables:
    """Read every table of a folder.

    :param also: further files that count in the version
    :raises RulebookFaults: with every fault of every file
    """
    tables = Tables()
    for path in sorted(folder.glob("*.toml")):
        tables.add_file(path)
    for path in also:
        tables.note(path.name, path.read_bytes())
    tables.check_together()
    if tables.faults:
        raise RulebookFaults(tuple(tables.faults))
    return tables
