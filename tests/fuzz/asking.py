"""Ask one operation again and again, each time of the same farm: what a call did is rolled back."""

from __future__ import annotations

import copy
import datetime as dt
import json
import random
from collections import Counter
from collections.abc import Iterable
from typing import Any
from urllib.parse import parse_qs, urlsplit

import hypothesis
import schemathesis
from django.db import transaction
from hypothesis import strategies as st
from schemathesis.config import SchemathesisConfig
from schemathesis.core.failures import Failure, FailureGroup
from schemathesis.core.parameters import ParameterLocation
from schemathesis.generation.hypothesis.builder import HypothesisTestConfig, HypothesisTestMode, create_test
from schemathesis.openapi.checks import RejectedPositiveData

from tests.fuzz.farm import ID, Known
from tests.fuzz.problems import a_problem_document
from tests.in_process import application

DOCUMENT = "/api/v1/openapi.json"
REAL, MIXED = 0.85, 0.7
"""How often a call names what is there, and how often its body is one that was taken, a little changed."""
NOT_IN_A_SCHEMA = {"not_found", "cursor_invalid", "gs1_invalid", "time_in_future"}
SETTINGS: dict[str, Any] = {
    "deadline": None,
    "database": None,
    "print_blob": False,
    "suppress_health_check": list(hypothesis.HealthCheck),
    "phases": [hypothesis.Phase.explicit, hypothesis.Phase.generate],
}
MOMENTS = st.datetimes(dt.datetime(1900, 1, 2), dt.datetime(2200, 12, 30))  # noqa: DTZ001
schemathesis.openapi.format("date-time", MOMENTS.map(lambda at: at.isoformat(timespec="seconds") + "Z"))
schemathesis.openapi.format("date", MOMENTS.map(lambda at: at.date().isoformat()))
GENERATION = {"allow-x00": False, "codec": "utf-8"}  # a NUL has a test of its own
MODES = [HypothesisTestMode.EXAMPLES, HypothesisTestMode.COVERAGE, HypothesisTestMode.FUZZING]


class Asker:
    """A farm, its document, and where each id of an address may be found."""

    def __init__(self, farm: Known, *, checks: dict[str, Any]) -> None:
        self.farm, self.token = farm, farm.head.secret
        config = SchemathesisConfig.from_dict({"checks": checks, "generation": GENERATION})
        self.schema = schemathesis.openapi.from_wsgi(DOCUMENT, application(), config=config)
        self.operations = {found.ok().label: found.ok() for found in self.schema.get_all_operations()}
        self.paths = self._paths()
        self.ids = self._ids_by_name()
        self.tags: dict[str, str] = {}
        self.cursors: dict[str, list[str]] = {}

    def ask(self, label: str, *, examples: int, seed: int) -> tuple[Counter[int], list[str]]:
        """Return how often each status was the answer, and what was wrong, each kind once."""
        operation, chance = self.operations[label], random.Random(f"{seed} {label}")
        statuses: Counter[int] = Counter()
        wrong: dict[str, str] = {}

        def call(case: Any) -> None:
            self._make_real(case, chance)
            headers = self._headers(case)
            with transaction.atomic():
                response = case.call(headers=headers)
                statuses[response.status_code] += 1
                try:
                    case.validate_response(
                        response,
                        additional_checks=[a_problem_document],
                        headers={"Authorization": self.token},
                    )
                except FailureGroup as found:
                    for one in found.exceptions:
                        if _names_what_is_not_there(one, response):
                            continue
                        wrong.setdefault(_kind(one, response), _told(one, case, response))
                transaction.set_rollback(True)

        asked = HypothesisTestConfig(
            project=self.schema.config,
            modes=MODES,
            settings=hypothesis.settings(max_examples=examples, **SETTINGS),
            apply_ci_profile=False,
            seed=seed,
        )
        try:
            create_test(operation=operation, test_func=call, config=asked)()
        except Exception as error:
            wrong["raised"] = f"{type(error).__name__}: {str(error)[:1500]}"
        return statuses, list(wrong.values())

    # what is there

    def _paths(self) -> dict[str, list[tuple[str, ...]]]:
        """Return, by kind of address, the ids that lead to something, gathered from the lists."""
        lists = {_bare(label[4:]) for label in self.operations if label.startswith("GET ")}
        kinds = {_bare(one.path) for one in self.operations.values()}
        found = {"": [()], "/api/v1/farms/{}": [(str(self.farm.farm.id),)]}
        for kind in sorted(kinds, key=lambda kind: kind.count("/")):
            above = kind[: kind.rfind("{}") + 2] if "{}" in kind else ""
            found.setdefault(kind, found.get(above, []))
            if kind in lists and f"{kind}/{{}}" in kinds - {"/api/v1/farms/{}"}:
                inner = [(*ids, id) for ids in found[kind] for id in self._listed(kind, ids)]
                found[f"{kind}/{{}}"] = inner
        return found

    def _listed(self, kind: str, ids: tuple[str, ...]) -> Iterable[str]:
        answer = self.farm.head.get(_filled(kind, ids))
        items = answer.json().get("items", []) if answer.status_code == 200 else []
        return [str(one.get("id") or one.get("name")) for one in items if "id" in one or "name" in one]

    def _ids_by_name(self) -> dict[str, list[str]]:
        """Return what a field of a body may name: `block`, `products`, …"""
        last: dict[str, list[str]] = {}
        for kind, tuples in self.paths.items():
            word = kind.removesuffix("/{}").rpartition("/")[2]
            if kind.endswith("/{}") and tuples and "{" not in word:
                last[word.rstrip("s").replace("-", "_")] = [ids[-1] for ids in tuples]
        same = {
            "worker": (
                "member",
                "handler",
                "lead",
                "observer",
                "mixed_by",
                "sprayed_by",
                "present",
                "operator",
            )
        }
        for word, others in same.items():
            last |= {other: last[word] for other in others if word in last}
        return last

    # making a call real

    def _make_real(self, case: Any, chance: random.Random) -> None:
        kind = _bare(case.operation.path)
        known = self.paths.get(kind) or []
        if case.path_parameters and self._is_positive(case, ParameterLocation.PATH):
            ids = chance.choice(known) if known and chance.random() < REAL else (str(self.farm.farm.id),)
            if (fit := self.farm.fit.get(kind)) and chance.random() < MIXED:
                ids = fit
            case.path_parameters = {
                **case.path_parameters,
                **dict(zip(_names(case.operation.path), ids, strict=False)),
            }
        if "cursor" in case.query and self._is_positive(case, ParameterLocation.QUERY):
            case.query = self._with_a_cursor_of_ours(case, kind)
        if isinstance(case.body, dict) and self._is_positive(case, ParameterLocation.BODY):
            taken = self.farm.bodies.get(kind, [])
            body = case.body
            if taken and chance.random() < MIXED:
                few = chance.sample(sorted(body), min(len(body), chance.choice((0, 0, 1, 1, 2))))
                body = copy.deepcopy(chance.choice(taken)) | {name: body[name] for name in few}
            case.body = self._with_ids(body, chance)

    def _with_a_cursor_of_ours(self, case: Any, kind: str) -> dict[str, Any]:
        """A cursor is ours or none: no schema says which."""
        path = case.formatted_path
        if path not in self.cursors:
            answer = self.farm.head.get(f"{path}?limit=1")
            listed = answer.headers["Content-Type"] == "application/json" and answer.status_code == 200
            onward = answer.json().get("next") if listed else None
            self.cursors[path] = parse_qs(urlsplit(onward or "").query).get("cursor", [])
        ours = self.cursors[path]
        rest = {name: value for name, value in case.query.items() if name != "cursor"}
        return {**rest, "cursor": ours[0]} if ours else rest

    def _is_positive(self, case: Any, where: ParameterLocation) -> bool:
        part = case.meta.components.get(where) if case.meta else None
        return part is None or part.mode.is_positive

    def _with_ids(self, value: Any, chance: random.Random, name: str = "") -> Any:
        """Return a body whose ids are mostly of things that are there."""
        if isinstance(value, dict):
            return {key: self._with_ids(inner, chance, key) for key, inner in value.items()}
        if isinstance(value, list):
            return [self._with_ids(inner, chance, name) for inner in value]
        ids = self.ids.get(name) or self.ids.get(name.rstrip("s"))
        if (
            ids
            and isinstance(value, str)
            and ID.fullmatch(value)
            and value not in ids
            and chance.random() < REAL
        ):
            return chance.choice(ids)
        return value

    def _headers(self, case: Any) -> dict[str, str]:
        sound = self._is_positive(case, ParameterLocation.HEADER)
        if not sound and "Authorization" not in case.headers:
            return {}  # what was left out is the point of it
        headers = {"Authorization": f"Bearer {self.token}"}
        wanted = {one.name for one in case.operation.headers}
        if "If-Match" in wanted and sound:
            headers["If-Match"] = self._tag(case)
        return headers

    def _tag(self, case: Any) -> str:
        path = case.formatted_path.partition("/actions/")[0]
        if path not in self.tags:
            self.tags[path] = self.farm.head.get(path).headers.get("ETag", '"none"')
        return self.tags[path]


def _names_what_is_not_there(failure: Failure, response: Any) -> bool:
    """No schema says which ids, cursors and check digits there are, or what time it is."""
    if not isinstance(failure, RejectedPositiveData) or response.status_code != 400:
        return False
    return {one["code"] for one in response.json()["errors"]} <= NOT_IN_A_SCHEMA


def _bare(path: str) -> str:
    """Return an address with `{}` for each name in it."""
    parts = ("{}" if part.startswith("{") else part for part in path.split("/"))
    return "/".join(parts)


def _names(path: str) -> list[str]:
    return [part[1:-1] for part in path.split("/") if part.startswith("{")]


def _filled(kind: str, ids: tuple[str, ...]) -> str:
    return kind.format(*ids)


def _kind(failure: Failure, response: Any) -> str:
    """Return what two findings share that are one."""
    said = json.dumps(str(failure.message))[:60]
    return f"{failure.title} {response.status_code} {said}"


def _told(failure: Failure, case: Any, response: Any) -> str:
    answer = f"{response.status_code} {response.text[:400]}"
    return f"{failure.title}: {failure.message[:600]}\n  {answer}\n  {case.as_curl_command()[:900]}"
