"""The panels under the chosen folder, found by name only: no path comes from a request.

Tested in tests/analysis/page/routes/test_app.py.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import quote

from analysis.page.stored.finished import finished_rows, verdict_of
from analysis.page.stored.part_shown import describe_part, part_size_mm
from analysis.page.stored.recorded import recorded
from analysis.part.part_folder import is_part, is_watched_part
from vision.common.atomic_files import read_json
from vision.common.outside.input_files import plain_text, shown_name
from vision.common.toml_table import length_mm, read_toml
from vision.drawing.live_picture import jpeg_bytes, load_frame
from vision.errors import WetlineError
from vision.frames.photo_times import natural_key
from vision.frames.photos import PHOTO_SUFFIXES
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
OUTPUTS = ("frames", "notes", "stages", "taken_out", "results", "day.toml")
"""What the page writes to in a panel: links that lead elsewhere are refused."""
CLOSED = "this {}'s files cannot be read: run `wetline run` on it to hear why"


def panel_id(name: str) -> str:
    """Return the name of a folder as text for an address; bytes that are no UTF-8 become %XX.

    Examples
    --------
    >>> panel_id("Deckel 3"), panel_id("K\\udcfchlung")
    ('Deckel 3', 'K%FChlung')
    """
    try:
        name.encode("utf-8")
    except UnicodeEncodeError:
        return quote(os.fsencode(name), safe=" ")
    return name


def inside(folder: Path, name: str) -> Path | None:
    """Return a panel's file or folder of that name, None where a link leads out of the panel."""
    path = folder / name
    try:
        return path if path.resolve().parent == folder.resolve() else None
    except (OSError, RuntimeError):  # a link that leads to itself
        return None


def refuse_links_out(folder: Path) -> None:
    """Refuse a panel whose pictures or results would go elsewhere.

    Raises
    ------
    WetlineError
        Naming the link.
    """
    for name in OUTPUTS:
        if inside(folder, name) is None:
            raise WetlineError(
                f"{name}: is a link that leads out of the panel's folder: the page writes nothing "
                "there; take the link away, or use the command line"
            )


@dataclass(frozen=True)
class Panels:
    """The folder that the page may show: one panel, or a folder of panels.

    Attributes
    ----------
    root : Path
    """

    root: Path

    def folders(self) -> dict[str, Path]:
        """Panel folders by their id; links that lead out of the chosen folder are left out."""
        root = self.root.resolve()
        if _is_panel(root):
            return {panel_id(root.name) or "panel": root}
        found: dict[str, Path] = {}
        for path in sorted(root.iterdir(), key=lambda p: natural_key(p.name)):
            if path.name.startswith(".") or not _is_panel(path) or inside(root, path.name) is None:
                continue
            found.setdefault(panel_id(path.name), path.resolve())
        return found

    @property
    def many(self) -> bool:
        """Whether this is a folder of panels, to which one more can be added."""
        return not _is_panel(self.root.resolve())

    def find(self, name: str) -> Path:
        """Return a panel's folder by its id.

        Raises
        ------
        WetlineError
            If there is no panel of that id.
        """
        folder = self.folders().get(name)
        if folder is None:
            raise WetlineError("no such panel")
        return folder


def _is_panel(folder: Path) -> bool:
    try:
        if (folder / "panel.toml").is_file():
            return inside(folder, "panel.toml") is not None
        return inside(folder, "part.toml") is not None and is_watched_part(folder)
    except OSError:
        return False


def result_files(folder: Path) -> dict[str, Path]:
    """Files of a panel's results that may be shown, by name, the report first."""
    results = folder / "results"
    if inside(folder, "results") is None or not results.is_dir():
        return {}
    return {
        path.name: path
        for path in sorted(results.iterdir(), key=lambda p: (p.suffix != ".html", p.name))
        if path.suffix.lower() in FILE_TYPES
        and path.name[0] != "."
        and path.name == plain_text(path.name)
        and path.is_file()
        and inside(results, path.name) is not None
    }


def describe(name: str, folder: Path) -> dict[str, Any]:
    """Return what the list of panels shows for one of them; a bad one says so in its own place."""
    if is_part(folder):
        try:
            pictures = inside(folder, "frames") is not None and bool(photos(folder))
            return describe_part(name, folder, list(result_files(folder)), pictures)
        except OSError:
            return describe_part(name, folder, [], False) | {"reason": CLOSED.format("part")}
    shown: dict[str, Any] = {"id": name, "name": shown_name(folder), "verdict": None, "reason": ""}
    try:
        told = read_toml(folder / "panel.toml")
        panel = told.get("panel", {})
        named = panel.get("name") if isinstance(panel, dict) else None
        shown["name"] = str(named or shown["name"])
        shown["scale"] = has_scale(folder)
        shown["pictures"] = inside(folder, "frames") is not None and bool(photos(folder))
        shown |= recorded(folder, told, shown["pictures"], shown["scale"], False)
        files = result_files(folder)
        shown["files"] = list(files)
        if "results.json" in files:
            shown |= _stored_answer(files["results.json"])
    except WetlineError as error:
        shown["reason"] = str(error)
    except (OSError, ValueError, TypeError, RecursionError):
        shown["reason"] = CLOSED.format("panel")
    return shown


def _stored_answer(path: Path) -> dict[str, Any]:
    try:
        results = read_json(path)
    except WetlineError:
        return {"reason": "results.json cannot be read: run it again"}
    verdict, reason, gels = verdict_of(results)
    shown = {"verdict": verdict or None, "reason": reason, "may_gel_first": gels}
    return shown | {"rows": finished_rows(results)}


def panel_size_mm(folder: Path) -> tuple[float | None, float | None]:
    """Length and width from panel.toml, where given; of a part, of the box around its outline."""
    if is_part(folder):
        return part_size_mm(folder)
    panel = read_toml(folder / "panel.toml").get("panel", {})
    panel = panel if isinstance(panel, dict) else {}
    return length_mm(panel.get("length_mm")), length_mm(panel.get("width_mm"))


def photos(folder: Path) -> list[Path]:
    """Return the panel's own pictures in their order: plain files, no links that lead out.

    Raises
    ------
    WetlineError
        If `frames` is a link that leads out of the panel's folder.
    """
    frames = folder / "frames"
    if inside(folder, "frames") is None:
        raise WetlineError(
            "frames: is a link that leads out of the panel's folder: the page does not follow it; "
            "use `wetline corners` and `wetline run` on this computer"
        )
    if not frames.is_dir():
        return []
    named = [
        path
        for path in frames.iterdir()
        if path.suffix.lower() in PHOTO_SUFFIXES
        and path.name[0] != "."
        and path.is_file()
        and inside(frames, path.name) is not None
    ]
    return sorted(named, key=lambda p: natural_key(p.name))


def first_frame(folder: Path) -> tuple[str, bytes] | None:
    """Name and JPEG of the panel's first picture, upright; None when there is none.

    Raises
    ------
    WetlineError
        If the pictures have names that panel.toml cannot hold, or lie elsewhere.
    """
    found = photos(folder)
    for path in [p for p in found if p.name == plain_text(p.name)][:5]:
        image = load_frame(path)
        if image is not None:
            return path.name, jpeg_bytes(image, 92)
    if found:
        raise WetlineError(
            f"frames/{shown_name(found[0])}: cannot be opened under this name: rename the photos "
            "with plain letters, or take them anew"
        )
    return None
