"""The version of Wetline that is installed.

Tested in tests/analysis/infusion/seen/test_made_from.py.
"""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version


def wetline_version() -> str:
    """Return the installed version, or an empty text."""
    try:
        return version("wetline")
    except PackageNotFoundError:
        return ""
