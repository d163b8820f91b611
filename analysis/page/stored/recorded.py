"""What a folder holds to work out: photos, film or pen marks, and what scale it has, in words.

Tested in tests/analysis/page/routes/test_worked_out.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

METHODS = {
    "sheet": "printed cards beside it",
    "corners": "its corners",
    "outline": "its corners",
    "tape": "a tape",
    "checkerboard": "a checkerboard",
}
TAPPED = ("corners", "tape", "outline")
"""Scales that are tapped; of a panel only these are tapped anew, for other lines would be lost."""


def recorded(
    folder: Path, told: Mapping[str, Any], pictures: bool, scale: bool, part: bool
) -> dict[str, Any]:
    """Return whether a folder can be worked out, and what its scale is.

    Parameters
    ----------
    folder : Path
    told : mapping
        The content of its panel.toml or part.toml.
    pictures, scale : bool
        Whether it has photos, and a scale.
    part : bool
        Whether it is a part's.

    Returns
    -------
    found : dict
        `recorded`: whether there are photos, a film or pen marks; `ready`: whether they can be
        worked out; `scale_words`: empty without a scale; `tap_again`: whether its corners may be
        tapped anew.
    """
    source = _table(told, "frames").get("source")
    file = isinstance(source, str) and _is_own_file(folder, source)
    marks = file and str(source).lower().endswith(".csv")
    method = _table(told, "scale").get("method")
    known = scale and isinstance(method, str)
    return {
        "recorded": pictures or file,
        "ready": marks or ((pictures or file) and scale),
        "scale_words": _words(told, str(method)) if known else "",
        "tap_again": known and pictures and (part or method in TAPPED),
    }


def _words(told: Mapping[str, Any], method: str) -> str:
    photo = _table(told, "scale").get("photo")
    on = f", tapped on {photo}" if isinstance(photo, str) and method in TAPPED else ""
    return f"by {METHODS.get(method, method)}{on}"


def _is_own_file(folder: Path, source: str) -> bool:
    """Return whether a source is a file of the folder's own, by no link that leads elsewhere."""
    try:
        path = (folder / source).resolve()
        return path.is_file() and path.is_relative_to(folder.resolve())
    except (OSError, RuntimeError, ValueError):
        return False


def _table(told: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    found = told.get(name)
    return found if isinstance(found, Mapping) else {}
