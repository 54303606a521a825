"""Every sentence that a request is refused with goes through gettext, where it is made."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SENTENCE = {
    "AuthenticationFailed": 0,
    "ErrorDetail": 0,
    "Fault": 1,
    "NoSuchValue": 0,
    "NotAllowed": 0,
    "OutlineFault": 0,
    "QuantityError": 1,
    "Unreadable": 0,
    "ValidationError": 0,
    "Wrong": 1,
    "wrong": 0,
}
"""Calls that say what is wrong, and which argument says it."""


def calls(tree: ast.AST, around: ast.AST | None = None) -> Iterator[tuple[ast.expr, ast.AST | None]]:
    """Yield what each call says, with the function that it stands in."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.Call) and len(node.args) > SENTENCE.get(name_of(node), 99):
            yield node.args[SENTENCE[name_of(node)]], around
        yield from calls(node, node if isinstance(node, ast.FunctionDef) else around)


def name_of(call: ast.Call) -> str:
    return call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")


def bare(node: ast.AST | None, around: ast.AST | None) -> bool:
    """Say whether an expression holds words that are not translated."""
    match node:
        case ast.Constant(value=str() as text):
            return any(letter.isalpha() for letter in text)
        case ast.JoinedStr(values=parts):
            return any(bare(part, around) for part in parts)
        case ast.BinOp(left=left, op=ast.Mod()):
            return bare(left, around)
        case ast.BinOp(left=left, right=right):
            return bare(left, around) or bare(right, around)
        case ast.IfExp(body=one, orelse=other):
            return bare(one, around) or bare(other, around)
        case ast.BoolOp(values=parts) | ast.List(elts=parts) | ast.Dict(values=parts):
            return any(bare(part, around) for part in parts)
        case ast.Name(id=name) if around is not None:
            return any(bare(value, None) for value in given(name, around))
    return False


def given(name: str, around: ast.AST) -> Iterator[ast.expr]:
    """Yield what a name is given within a function."""
    for node in ast.walk(around):
        match node:
            case ast.Assign(targets=[ast.Name(id=found)], value=value) if found == name:
                yield value
            case ast.AugAssign(target=ast.Name(id=found), op=ast.Add(), value=value) if found == name:
                yield value


def files() -> list[Path]:
    found = [path for top in ("orchard", "scheduling") for path in (ROOT / top).rglob("*.py")]
    return sorted(path for path in found if "migrations" not in path.parts)


def test_no_sentence_of_a_refusal_is_left_untranslated():
    seen, untranslated = 0, []

    for path in files():
        for sentence, around in calls(ast.parse(path.read_text("utf-8"))):
            seen += 1
            if bare(sentence, around):
                untranslated.append(f"{path.relative_to(ROOT)}:{sentence.lineno}: {ast.unparse(sentence)}")

    assert untranslated == []
    assert seen > 300


@pytest.mark.parametrize(
    ("code", "is_bare"),
    [
        ('Fault("invalid", "too late")', True),
        ('Fault("invalid", f"{name} is late")', True),
        ('Fault("invalid", _("too late"))', False),
        ('Fault("invalid", _("%(name)s is late") % {"name": name})', False),
        ('Fault("invalid", fault.detail)', False),
        ('def f():\n    says = "too late" if late else _("late")\n    return Fault("invalid", says)', True),
        ('def f():\n    says = _("late")\n    says += "!!! now"\n    return Fault("invalid", says)', True),
        ('def f():\n    says = _("%(name)s is late")\n    return Fault("invalid", says % facts)', False),
        ('ValidationError({"blocks": ["name the blocks"]}, code="required")', True),
        ('ValidationError({"blocks": [_("name the blocks")]}, code="required")', False),
    ],
)
def test_what_counts_as_untranslated(code, is_bare):
    [(sentence, around)] = calls(ast.parse(code))

    assert bare(sentence, around) is is_bare
