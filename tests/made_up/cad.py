"""The readers of drawings, for tests: loaded as the product loads them, skipped where missing."""

from importlib.util import find_spec

import pytest

from analysis.part.plan.cad import load


def reader(package):
    """Return the package, or skip what asks for it where the `cad` extra is not installed."""
    if find_spec(package) is None:
        pytest.skip(f"{package} is not installed", allow_module_level=True)
    return load(package)
