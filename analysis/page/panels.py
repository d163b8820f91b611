"""The panels under the chosen folder, found by name only: no path comes from a request.

Tested in tests/analysis/page/test_app.py.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from vision.common.atomic_files import read_json, write_text
from vision.common.toml_table import read_toml
from vision.drawing.live_picture import jpeg_bytes, load_frame
from vision.errors import WetlineError
from vision.frames.photo_times import natural_key
from vision.frames.photos import PHOTO_SUFFIXES
from vision.scale.corner_picker import order_fault, scale_lines
from vision.tracking.live_feed import has_scale

FILE_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".pdf": "application/pdf",
    ".png": "image/png",
    ".jpg": "image/jpeg",
    ".svg": "image/svg+xml",
    ".csv": "text/csv; charset=utf-8",
    ".json": "application/json",
    ".mp4": "video/mp4",
}
_HEADER = re.compile(r"^\s*\[\[?\s*([A-Za-z_][\w.\- ]*)\s*\]\]?\s*(#.*)?$")


@dataclass(frozen=True)
class Panels:
    """The folder that the page may show: one panel, or a folder of panels.

    Attributes
    ----------
    root : Path
    """

    root: Path

    def folders(self) -> dict[str, Path]:
        """Panel folders by name; links that lead out of the chosen folder are left out."""
        root = self.root.resolve()
        if (root / "panel.toml").is_file():
            return {root.name or "panel": root}
        found = {}
        for path in sorted(root.iterdir(), key=lambda p: natural_key(p.name)):
            if path.name.startswith(".") or not (path / "panel.toml").is_file():
                continue
            if path.resolve().parent == root:
                found[path.name] = path.resolve()
        return found

    def find(self, name: str) -> Path:
        """Return a panel's folder by its name.

        Raises
        ------
        WetlineError
            If there is no panel of that name.
        """
        folder = self.folders().get(name)
        if folder is None:
            raise WetlineError("no such panel")
        return folder


def result_files(folder: Path) -> dict[str, Path]:
    """Files of a panel's results that may be shown, by name, the report first."""
    results = (folder / "results").resolve()
    if not results.is_dir() or results.parent != folder.resolve():
        return {}
    found = {
        path.name: path
        for path in sorted(results.iterdir(), key=lambda p: (p.suffix != ".html", p.name))
        if path.suffix.lower() in FILE_TYPES
        and path.name[0] != "."
        and path.is_file()
        and path.resolve().parent == results
    }
    return found


def describe(name: str, folder: Path) -> dict[str, Any]:
    """Return what the list of panels shows for one of them."""
    shown: dict[str, Any] = {"id": name, "name": name, "verdict": None, "reason": None}
    try:
        panel = read_toml(folder / "panel.toml").get("panel", {})
        shown["name"] = str(panel.get("name") or name)
        shown["scale"] = has_scale(folder)
    except WetlineError as error:
        shown["reason"] = str(error)
        return shown
    files = result_files(folder)
    shown["files"] = list(files)
    if "results.json" in files:
        try:
            verdict = read_json(files["results.json"]).get("verdict") or {}
            shown["verdict"], shown["reason"] = verdict.get("verdict"), verdict.get("reason")
            shown["may_gel_first"] = verdict.get("may_gel_first") is True
        except WetlineError:
            shown["reason"] = "results.json cannot be read"
    return shown


def panel_size_mm(folder: Path) -> tuple[float | None, float | None]:
    """Length and width from panel.toml, where given."""
    from vision.common.toml_table import length_mm

    panel = read_toml(folder / "panel.toml").get("panel", {})
    return length_mm(panel.get("length_mm")), length_mm(panel.get("width_mm"))


def first_frame(folder: Path) -> tuple[str, bytes] | None:
    """Name and JPEG of the panel's first picture, upright; None when there is none."""
    frames = folder / "frames"
    if not frames.is_dir():
        return None
    names = [p for p in frames.iterdir() if p.suffix.lower() in PHOTO_SUFFIXES and p.name[0] != "."]
    for path in sorted(names, key=lambda p: natural_key(p.name))[:5]:
        image = load_frame(path)
        if image is not None:
            return path.name, jpeg_bytes(image, 92)
    return None


def save_scale(
    folder: Path,
    corners: list[tuple[float, float]],
    tape: list[tuple[float, float]],
    tape_mm: float | None,
    photo: str,
) -> None:
    """Write tapped points into panel.toml as its ``[scale]`` table.

    Parameters
    ----------
    folder : Path
    corners : list of 4 (x, y)
        Pixels of the photo, clockwise from the feed corner.
    tape : list of 0 or 2 (x, y)
        Two points of known distance, where the panel's size is not known.
    tape_mm : float or None
    photo : str
        The photo they were tapped on.

    Raises
    ------
    WetlineError
        If the points make no panel, or panel.toml cannot be changed safely.
    """
    if len(corners) != 4 or len(tape) not in (0, 2):
        raise WetlineError("scale points: four corners are needed, and two tape marks or none")
    fault = order_fault(corners)
    if fault:
        raise WetlineError(fault.replace("click", "tap"))
    if tape and not (tape_mm and tape_mm > 0):
        raise WetlineError("scale points: say how far apart the two tape marks are, in mm")
    size = panel_size_mm(folder)
    if not tape and (size[0] is None or size[1] is None):
        raise WetlineError("scale points: panel.toml has no size: tap two tape marks too")
    path = folder / "panel.toml"
    lines = scale_lines(_rounded(corners), _rounded(tape), tape_mm) + f'\nphoto = "{photo}"'
    write_text(path, with_scale(path.read_bytes().decode("utf-8-sig"), lines))


def _rounded(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    return [(round(x, 1), round(y, 1)) for x, y in points]


def with_scale(text: str, lines: str) -> str:
    """Put a new ``[scale]`` table into the text of a panel.toml; all else stays as it is.

    Raises
    ------
    WetlineError
        If another table would change.
    """
    kept, inside = [], False
    for line in text.splitlines():
        header = _HEADER.match(line)
        if header:
            inside = header.group(1).strip().split(".")[0] == "scale"
        if not inside:
            kept.append(line)
    new = "\n".join(kept).rstrip() + "\n\n" + lines + "\n"
    before, after = tomllib.loads(text), tomllib.loads(new)
    before.pop("scale", None)
    after.pop("scale", None)
    if before != after:
        raise WetlineError("panel.toml: [scale] cannot be replaced safely: edit it by hand")
    return new
