"""The shape of the house: small modules and functions, few to a folder, each with its test."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
MODULES = sorted(
    path.relative_to(ROOT)
    for room in ("vision", "analysis")
    for path in (ROOT / room).rglob("*.py")
    if path.name != "__init__.py"
)
MOST_MODULES, MOST_LINES, MOST_FUNCTION_LINES = 9, 400, 50


def tree_of(module):
    return ast.parse((ROOT / module).read_text(encoding="utf-8"))


def body_lines(function):
    """Lines of a function without its docstring."""
    lines = function.end_lineno - function.lineno + 1
    if ast.get_docstring(function) is None:
        return lines
    words = function.body[0]
    return lines - (words.end_lineno - words.lineno + 1)


def test_no_folder_holds_more_than_nine_modules():
    for folder in {module.parent for module in MODULES}:
        assert sum(module.parent == folder for module in MODULES) <= MOST_MODULES, folder


@pytest.mark.parametrize("module", MODULES, ids=str)
def test_a_module_is_short_and_so_are_its_functions(module):
    tree = tree_of(module)
    assert len((ROOT / module).read_text(encoding="utf-8").splitlines()) <= MOST_LINES
    long = {
        node.name: body_lines(node)
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef) and body_lines(node) > MOST_FUNCTION_LINES
    }
    assert not long


@pytest.mark.parametrize("module", MODULES, ids=str)
def test_a_module_has_its_test_or_says_where_it_is_tested(module):
    if (ROOT / "tests" / module.parent / f"test_{module.name}").exists():
        return
    named = re.findall(r"Tested in (tests/\S+\.py)", ast.get_docstring(tree_of(module)) or "")
    assert named, f"no tests/{module.parent}/test_{module.name}, and its docstring names none"
    for path in named:
        assert (ROOT / path).is_file(), path
