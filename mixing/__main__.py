"""The engine as a command: JSON in, JSON out.

    python -m mixing check FILE [--text] exit 0 for ok or caution, 1 for stop, 2 where it cannot be read
    python -m mixing calculate NAME FILE exit 0 or 2
    python -m mixing rules [--json]      the rule tables with their sources, one row a line
    python -m mixing explain RULE-ID     what one row says, why, and who says so

FILE may be `-` for standard input. Faults go to standard output as {"errors": [...]}, nothing elsewhere.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, NoReturn

from mixing import catalogue, check_mix, rulebook
from mixing.calculations import CalculationError, calculate
from mixing.catalogue import Text, said
from mixing.faults import MixRequestError, near
from mixing.reading_json import read_json
from mixing.readout import readout
from mixing.rulebook import Rule

OK, STOP, UNREADABLE = 0, 1, 2


class Refused(Exception):
    """A command that cannot be carried out as it was given."""

    def __init__(self, text: Text) -> None:
        super().__init__(text.id)
        self.text = text


class Parser(argparse.ArgumentParser):
    """An argument parser whose complaints are faults like all others."""

    def error(self, message: str) -> NoReturn:
        """Refuse the command line."""
        raise Refused(said("fault.command", problem=message))


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status."""
    language = "en"
    try:
        asked = _parser().parse_args(arguments, argparse.Namespace(language="en"))
        language = asked.language
        run: Callable[[argparse.Namespace], int] = asked.run
        return run(asked)
    except (MixRequestError, CalculationError) as error:
        _write({"errors": error.errors})
    except Refused as error:
        _write({"errors": [{"pointer": "", "code": "invalid", "detail": error.text.render(language)}]})
    return UNREADABLE


def _parser() -> Parser:
    parser = Parser(prog="python -m mixing", description="Check tank mixes; see each command's --help.")
    commands = parser.add_subparsers(required=True, parser_class=Parser, metavar="COMMAND")
    checking = commands.add_parser("check", help="check a tank mix")
    checking.add_argument("file", metavar="FILE", help="the request as JSON; - for standard input")
    checking.add_argument("--text", action="store_true", help="the report as text for a person, not as JSON")
    checking.set_defaults(run=_check)
    calculating = commands.add_parser("calculate", help="one named calculation")
    calculating.add_argument("name", metavar="NAME")
    calculating.add_argument("file", metavar="FILE", help="its inputs as JSON; - for standard input")
    calculating.set_defaults(run=_calculate)
    listing = commands.add_parser("rules", help="list the rules")
    listing.add_argument("--json", action="store_true", help="as JSON")
    listing.set_defaults(run=_rules)
    explaining = commands.add_parser("explain", help="explain one rule")
    explaining.add_argument("id", metavar="RULE-ID")
    explaining.set_defaults(run=_explain)
    for command in (checking, calculating, listing, explaining):
        command.add_argument("--language", choices=catalogue.LANGUAGES, default="en")
    return parser


def _check(asked: argparse.Namespace) -> int:
    report = check_mix(read_json(_read(asked.file), language=asked.language), language=asked.language)
    if asked.text:
        _say(readout(report, language=asked.language))
    else:
        _write(report)
    return STOP if report["verdict"] == "stop" else OK


def _calculate(asked: argparse.Namespace) -> int:
    inputs = read_json(_read(asked.file), language=asked.language)
    _write(calculate(asked.name, inputs, language=asked.language))
    return OK


def _rules(asked: argparse.Namespace) -> int:
    rules = rulebook.load()
    rows = [_row(rule, asked.language) for rule in sorted(rules.rules(), key=lambda rule: rule.id)]
    if asked.json:
        _write({"rules": {"version": rules.version, "count": rules.count}, "items": rows})
        return OK
    _say("\n".join(_line(row, asked.language) for row in rows))
    return OK


def _line(row: Mapping[str, Any], language: str) -> str:
    said_by = _said_by(row, language)
    return f"{row['severity']:8}{row['basis']:11}{row['id']}  {row['says']} [{said_by}]"


def _said_by(row: Mapping[str, Any], language: str) -> str:
    """Return the source of a row, or why it has none."""
    source = row["source"]
    if source is not None:
        return ", ".join(str(part) for part in source.values() if part)
    return catalogue.render(f"whose.{'memory' if row['memory'] else row['basis']}", language=language)


def _explain(asked: argparse.Namespace) -> int:
    rules = rulebook.load()
    try:
        rule = rules.rule(asked.id)
    except KeyError:
        hint = near(asked.id, (rule.id for rule in rules.rules()))
        raise Refused(said("fault.unknown_rule", name=repr(asked.id[:80]), hint=hint)) from None
    row = _row(rule, asked.language)
    told = [row["id"], f"{row['severity']}, {row['basis']}", row["says"], row["why"], row["do"]]
    told.append(_said_by(row, asked.language))
    _say("\n".join(line for line in told if line))
    return OK


def _row(rule: Rule, language: str) -> dict[str, Any]:
    """Return a row with its sentences as they stand, their braces open."""
    source = rulebook.load().sources.get(rule.source or "")
    return {
        "id": rule.id,
        "table": rule.table,
        "severity": rule.severity.word,
        "basis": rule.basis.value,
        **{name: catalogue.template(f"rules.{rule.id}.{name}", language) for name in ("says", "why", "do")},
        "source": None
        if source is None
        else {
            "title": source.title,
            "publisher": source.publisher,
            "year": source.year,
            "where": source.where,
            "locator": rule.locator,
        },
        "memory": rule.memory,
        "retired": rule.retired,
    }


def _read(name: str) -> str:
    """Return the text of a file or of standard input."""
    try:
        raw = sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()
        return raw.decode("utf-8-sig")
    except OSError as error:
        raise Refused(said("fault.unreadable_file", name=name[:200], problem=error.strerror)) from None
    except ValueError:
        raise Refused(said("fault.not_utf8", name=name[:200])) from None


def _write(answer: object) -> None:
    _say(json.dumps(answer, indent=2, ensure_ascii=False))


def _say(text: str) -> None:
    """Write UTF-8 whatever the terminal; half of a surrogate pair stays the escape that it came as."""
    sys.stdout.buffer.write(text.encode("utf-8", "backslashreplace") + b"\n")
    sys.stdout.buffer.flush()


if __name__ == "__main__":
    sys.exit(main())
