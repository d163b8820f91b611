"""Every name of ours that a test imports, at its head or within, is there."""

import ast
import importlib
from pathlib import Path

import pytest

HERE = Path(__file__).parent
OURS = ("analysis", "vision", "wetline", "tests")


def imported(path):
    """Names a file takes from this project, as (module, name)."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and not node.level:
            yield from ((node.module, alias.name) for alias in node.names)
        elif isinstance(node, ast.Import):
            yield from ((alias.name, "") for alias in node.names)


def is_there(module, name):
    try:
        home = importlib.import_module(module)
    except ModuleNotFoundError as error:
        # A package of an optional extra may be missing; a module of ours may not.
        return (error.name or "").split(".")[0] not in OURS
    if not name or hasattr(home, name):
        return True
    try:
        importlib.import_module(f"{module}.{name}")
    except ModuleNotFoundError:
        return False
    return True


@pytest.mark.parametrize("path", sorted(HERE.rglob("test_*.py")), ids=lambda p: p.stem)
def test_what_a_test_imports_is_there(path):
    missing = [
        f"{module}.{name}"
        for module, name in imported(path)
        if module.split(".")[0] in OURS and not is_there(module, name)
    ]
    assert missing == []
