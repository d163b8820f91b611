"""Whether a path is a part's or a panel's, asked before what either of them needs is loaded."""

from __future__ import annotations

from pathlib import Path

from vision.common.toml_table import read_toml
from vision.errors import WetlineError

MAP, TABLE = "arrival.npz", "part_front.csv"
NUMBERS, PAGE = "part_run.json", "part_run.html"
"""What a run on a part leaves in its results: map, table of photos, numbers, page."""
RECORDS = ("part_record.html", "part_record.pdf", "record.json")
"""What `wetline record` makes of it."""


def is_part(path: Path) -> bool:
    """Return whether a path is a part's: its part.toml, or a folder that holds one and no panel."""
    if path.is_file():
        return path.suffix == ".toml" and path.name != "panel.toml"
    return (path / "part.toml").is_file() and not (path / "panel.toml").is_file()


def has_camera(path: Path) -> bool:
    """Return whether a part.toml, or the one in a folder, says what the camera saw."""
    path = path / "part.toml" if path.is_dir() else path
    return path.is_file() and "frames" in read_toml(path)


def has_scale(path: Path) -> bool:
    """Return whether a part.toml, or the one in a folder, says how the camera saw the plan."""
    told = read_toml(path / "part.toml" if path.is_dir() else path).get("scale")
    if not isinstance(told, dict) or told.get("method") is None:
        return False
    return told["method"] != "outline" or "points_px" in told


def is_watched_part(folder: Path) -> bool:
    """Return whether a folder is a part's whose part.toml says what the camera saw.

    A part.toml that cannot be read counts: its fault is told when it is run.
    """
    if not is_part(folder):
        return False
    try:
        return has_camera(folder)
    except WetlineError:
        return True
