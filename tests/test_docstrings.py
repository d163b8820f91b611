"""Every module, class and function of the two packages says what it is for, and truly so.

Documented parameters are those of the signature; docstrings begin in plain present English, with
what is returned, computed, found or written.
"""

import ast
import importlib
import inspect
import pkgutil
import re

import pytest

import analysis
import vision
import wetline

MODULES = [
    wetline,
    *(
        importlib.import_module(item.name)
        for package in (vision, analysis)
        for item in pkgutil.walk_packages(package.__path__, f"{package.__name__}.")
    ),
]
TALK = {"give", "gives", "tell", "tells", "say", "says"}


def public_functions(module):
    """Functions of a module and the methods of its classes, with their names."""
    for name, value in vars(module).items():
        if name.startswith("_") or getattr(value, "__module__", None) != module.__name__:
            continue
        if inspect.isfunction(value):
            yield name, value
        if inspect.isclass(value):
            for method, function in vars(value).items():
                if inspect.isfunction(function) and not method.startswith("_"):
                    yield f"{name}.{method}", function


def documented_parameters(text):
    """Names in the section Parameters of a docstring."""
    section = re.search(r"Parameters\n-+\n(.*?)(\n\n[A-Z]\w+\n-+\n|\Z)", text, re.S)
    if section is None:
        return set()
    named = re.findall(r"^(\w[\w, ]*?)(?: :.*)?$", section.group(1), re.M)
    return {name for line in named for name in line.split(", ")}


@pytest.mark.parametrize("module", MODULES, ids=lambda module: module.__name__)
def test_documented_parameters_exist(module):
    assert module.__doc__
    for name, function in public_functions(module):
        text = inspect.getdoc(function) or ""
        assert text, name
        assert documented_parameters(text) <= set(inspect.signature(function).parameters), name


@pytest.mark.parametrize("module", MODULES, ids=lambda module: module.__name__)
def test_docstrings_begin_with_what_is_done(module):
    tree = ast.parse(inspect.getsource(module))
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            words = (ast.get_docstring(node) or "").split()
            assert not words or words[0].strip(",.:;").lower() not in TALK, node.name


def test_the_reader_of_parameters_is_not_blind():
    def add(a, b, c):
        """Return a sum.

        Parameters
        ----------
        a, b : int
            Two of three.
        c
            The third.

        Returns
        -------
        total : int
        """

    assert documented_parameters(inspect.getdoc(add)) == {"a", "b", "c"}
