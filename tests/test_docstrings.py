"""Every module, class and function of the two packages says what it is for, and truly so.

Documented parameters are those of the signature; docstrings begin in plain present English, with
what is returned, computed, found or written. Examples in them do as they say.
"""

import ast
import doctest
import importlib
import inspect
import pkgutil
import re

import pytest

import analysis
import vision
import wetline

OURS = ("vision", "analysis")


def loaded(name):
    """Return a module of ours in a list, or none where it needs an extra that is not installed."""
    try:
        return [importlib.import_module(name)]
    except ModuleNotFoundError as error:
        if (error.name or "").split(".")[0] in OURS:
            raise
        return []


MODULES = [
    wetline,
    *(
        module
        for package in (vision, analysis)
        for item in pkgutil.walk_packages(package.__path__, f"{package.__name__}.")
        for module in loaded(item.name)
    ),
]
EXAMPLES = [module for module in MODULES if ">>> " in inspect.getsource(module)]
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


@pytest.mark.parametrize("module", EXAMPLES, ids=lambda module: module.__name__)
def test_examples_run_as_written(module):
    failed, tried = doctest.testmod(module)
    assert tried > 0
    assert failed == 0


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
