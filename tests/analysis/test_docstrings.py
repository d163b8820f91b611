"""Documented parameter names are those of the signature, and every module says what it is for."""

import importlib
import inspect
import pkgutil
import re

import pytest

import analysis

MODULES = [
    importlib.import_module(item.name)
    for item in pkgutil.walk_packages(analysis.__path__, "analysis.")
]


def public_functions(module):
    for name, value in vars(module).items():
        own = inspect.isfunction(value) and value.__module__ == module.__name__
        if own and not name.startswith("_"):
            yield value


@pytest.mark.parametrize("module", MODULES, ids=lambda module: module.__name__)
def test_documented_parameters_exist(module):
    assert module.__doc__
    for function in public_functions(module):
        text = inspect.getdoc(function) or ""
        assert text, function.__qualname__
        section = re.search(r"Parameters\n-+\n(.*?)(\n\n[A-Z]\w+\n-+\n|\Z)", text, re.S)
        if section is None:
            continue
        named = re.findall(r"^(\w[\w, ]*?)(?: :.*)?$", section.group(1), re.M)
        names = {name for line in named for name in line.split(", ")}
        assert names <= set(inspect.signature(function).parameters), function.__qualname__
