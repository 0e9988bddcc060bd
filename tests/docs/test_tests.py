"""Tests can fail, and run next to other programs: each asserts something, none names a port."""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]
FILES = sorted(TESTS.rglob("*.py"))
STATED = {"raises", "warns", "fail", "deprecated_call"}
PORT = re.compile(r"--port[ =]?\d|127\.0\.0\.1:\d{4,5}/")


def functions(tree: ast.AST) -> dict[str, ast.FunctionDef]:
    return {node.name: node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}


def runs(over: ast.expr) -> bool:
    """Whether a loop over this surely runs: over a literal that is not empty, or a fixed range."""
    if isinstance(over, ast.Tuple | ast.List | ast.Set):
        return any(not isinstance(one, ast.Starred) for one in over.elts)
    if isinstance(over, ast.Call):
        if called(over) == "range":
            return all(isinstance(one, ast.Constant) for one in over.args)
        if called(over) in {"enumerate", "zip", "sorted", "reversed", "product"}:
            return all(runs(one) for one in over.args)
    if isinstance(over, ast.GeneratorExp | ast.ListComp):
        return all(runs(each.iter) and not each.ifs for each in over.generators)
    return False


def called(node: ast.AST) -> str:
    if not isinstance(node, ast.Call):
        return ""
    name = node.func
    return name.attr if isinstance(name, ast.Attribute) else getattr(name, "id", "")


def asserts(
    function: ast.FunctionDef,
    known: dict[str, ast.FunctionDef],
    found: dict[tuple[str, int], bool],
    depth: int = 3,
) -> bool:
    """Whether a call of the function surely asserts something, itself or by what it calls.

    What is found of known functions is kept in `found`.
    """

    def states(node: ast.AST) -> bool:
        name = called(node)
        if isinstance(node, ast.Assert) or name in STATED or name.startswith(("assert_", "to_")):
            return True
        if not depth or name not in known:
            return False
        if (name, depth) not in found:
            found[name, depth] = asserts(known[name], known, found, depth - 1)
        return found[name, depth]

    def one(statement: ast.stmt) -> bool:
        match statement:
            case ast.With():
                heads = [node for item in statement.items for node in ast.walk(item.context_expr)]
                return any(map(states, heads)) or some(statement.body)
            case ast.For():
                return runs(statement.iter) and some(statement.body)
            case ast.If():
                return some(statement.body) and some(statement.orelse)
            case ast.Try():
                ends = [handler.body for handler in statement.handlers]
                body = some(statement.body) or some(statement.orelse)
                return some(statement.finalbody) or (body and all(map(some, ends)))
            case ast.While() | ast.FunctionDef() | ast.ClassDef():
                return False
        return any(map(states, ast.walk(statement)))

    def some(body: list[ast.stmt]) -> bool:
        return any(map(one, body))

    return some(function.body)


@cache
def trees() -> dict[Path, ast.Module]:
    return {path.relative_to(TESTS): ast.parse(path.read_text(encoding="utf-8")) for path in FILES}


def test_every_test_asserts_something_outside_loops_and_branches():
    defined = {path: functions(tree) for path, tree in trees().items()}
    shared: dict[str, ast.FunctionDef] = {}
    for path, own in defined.items():
        if not path.name.startswith("test_"):
            shared |= own
    silent = []
    for path, own in defined.items():
        known, found = shared | own, {}
        silent += [
            f"{path}: {name}"
            for name, one in own.items()
            if path.name.startswith("test_") and name.startswith("test_")
            if not asserts(one, known, found)
        ]
    assert silent == [], "assert something that no empty loop and no branch can leave out"


def ports_named(tree: ast.Module) -> Iterator[int]:
    """Lines that name a port to listen on or to call."""
    for node in ast.walk(tree):
        if isinstance(node, ast.keyword) and node.arg == "port":
            value = node.value
            if isinstance(value, ast.Constant) and value.value:
                yield value.lineno
        if isinstance(node, ast.Call):
            words = [one.value for one in node.args if isinstance(one, ast.Constant)]
            after = words[words.index("--port") + 1 :] if "--port" in words else []
            if any(str(word).isdigit() for word in after[:1]):
                yield node.lineno
            inner = {one.arg for one in ast.walk(node) if isinstance(one, ast.keyword)}
            if called(node) == "serve" and not inner & {"port", "web"}:
                yield node.lineno
        if (
            isinstance(node, ast.Constant)
            and isinstance(node.value, str)
            and PORT.search(node.value)
        ):
            yield node.lineno


def test_no_test_uses_a_port_that_another_program_may_have():
    named = [f"{path}:{line}" for path, tree in trees().items() for line in ports_named(tree)]
    assert named == [], "take tests.ports.free_port, or port=0 where nothing is served"


@pytest.mark.parametrize("name", ["fast.txt", "uncounted.txt"])
def test_the_listed_tests_are_there(name):
    lines = (TESTS / name).read_text(encoding="utf-8").splitlines()
    paths = [line.removeprefix("--ignore=") for line in lines if not line.startswith("#")]
    assert len(paths) > 3
    assert [path for path in paths if not (TESTS.parent / path).exists()] == []
