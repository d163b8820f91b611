"""Every name that a test imports is there: pytest quietly leaves a module out where one is not."""

import ast
import importlib
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
OURS = ("analysis", "vision", "wetline", "tests")
LOADED = ("analysis", "vision")


@pytest.fixture(autouse=True, scope="module")
def afresh():
    """Load our modules anew: pytest leaves one half loaded where its extra is not installed."""
    ours = {name: home for name, home in sys.modules.items() if name.split(".")[0] in LOADED}
    for name in ours:
        del sys.modules[name]
    yield
    for name in [name for name in sys.modules if name.split(".")[0] in LOADED]:
        del sys.modules[name]
    sys.modules.update(ours)


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
