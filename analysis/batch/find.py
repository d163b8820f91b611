"""Find panel and part folders beneath a folder, and what was recorded without a panel.toml."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from analysis.part.part_folder import is_part, is_watched_part
from vision.errors import WetlineError
from vision.frames.photo_times import natural_key
from vision.frames.photos import PHOTO_SUFFIXES
from vision.frames.source import FEWEST_FRAMES
from vision.settings.frame_settings import VIDEO_SUFFIXES

RESULTS = "results"
FRAMES = "frames"
ADD_FRAMES = "beside a part.toml without [frames]: write [frames] and [scale] into it"
PLAN_ADVICE = (
    "a plan without [frames]: nothing to run; `wetline part` works it out, and [frames] and "
    "[scale] in its part.toml let the camera follow it"
)
FILM_CLOCK = 'how fast it plays (speed_up = 30, or duration = "40 min")'


@dataclass(frozen=True)
class Unfinished:
    """Something recorded that lacks its panel.toml.

    Attributes
    ----------
    folder : str
        Path from the folder that was searched, with ``/``.
    advice : str
        What it is and what to write.
    """

    folder: str
    advice: str


@dataclass(frozen=True)
class Found:
    """What lies beneath a folder, each list in the order a person counts.

    Attributes
    ----------
    root : Path
    panels : tuple of Path
        Folders with a panel.toml, or with a part.toml that has [frames].
    unfinished : tuple of Unfinished
        Photos, films and pen marks without one.
    plans : tuple of Unfinished
        Parts whose part.toml has no [frames], and no photos beside it.
    closed : tuple of str
        Folders that cannot be opened.
    """

    root: Path
    panels: tuple[Path, ...]
    unfinished: tuple[Unfinished, ...] = ()
    closed: tuple[str, ...] = ()
    plans: tuple[Unfinished, ...] = ()

    def name(self, folder: Path) -> str:
        """Return a panel's path from the root as text; the root itself by its name."""
        return shown_path(self.root, folder)


def shown_path(root: Path, folder: Path) -> str:
    """Return a path from `root` with ``/``, as text that can be written."""
    path = folder.relative_to(root).as_posix()
    name = root.resolve().name if path == "." else path
    return os.fsencode(name).decode("utf-8", "backslashreplace")


def find_panels(root: Path) -> Found:
    """Find every folder of a panel or part beneath a folder, itself among them.

    Parameters
    ----------
    root : Path
        Where to look. Hidden folders and ``results`` are left out; a folder that is reached
        twice by links counts once.

    Returns
    -------
    Found

    Raises
    ------
    WetlineError
        If `root` is no folder.
    """
    if not root.is_dir():
        raise WetlineError(f"{root}: no such folder: name the one that holds the panel folders")
    panels: list[Path] = []
    unfinished: list[Unfinished] = []
    plans: list[str] = []
    closed: list[str] = []
    seen: set[Path] = set()
    waiting = [(root, False)]
    while waiting:
        folder, in_panel = waiting.pop()
        try:
            real = folder.resolve()
            if real in seen:
                continue
            seen.add(real)
            items = sorted(folder.iterdir(), key=lambda path: natural_key(path.name))
            folders = [path for path in items if _is_entered(path)]
            here = (folder / "panel.toml").is_file() or is_watched_part(folder)
        except (OSError, RuntimeError):
            closed.append(shown_path(root, folder))
            continue
        if here:
            panels.append(folder)
        elif not in_panel:
            unfinished += _unfinished(root, folder, items)
            plans += [shown_path(root, folder)] if is_part(folder) else []
        waiting += [(path, in_panel or here) for path in reversed(folders)]
    told = {one.folder for one in unfinished}
    alone = tuple(Unfinished(name, PLAN_ADVICE) for name in plans if name not in told)
    return Found(root, tuple(panels), tuple(unfinished), tuple(closed), alone)


def _is_entered(path: Path) -> bool:
    return path.name[0] != "." and path.name != RESULTS and path.is_dir()


def _unfinished(root: Path, folder: Path, items: Sequence[Path]) -> list[Unfinished]:
    """Write what to do with photos, films and pen marks that lie in a folder of no panel."""
    names = [p.name for p in items if p.name[0] != "." and p.is_file()]
    photos = [name for name in names if Path(name).suffix.lower() in PHOTO_SUFFIXES]
    films = [name for name in names if Path(name).suffix.lower() in VIDEO_SUFFIXES]
    in_frames = folder.name == FRAMES and folder != root
    home = folder.parent if in_frames and len(photos) >= FEWEST_FRAMES else folder
    make = f"`wetline new {_quoted(home)}`"
    if is_part(home):
        kinds = f"{len(photos)} photos" if photos else f"film {films[0]}" if films else ""
        return [Unfinished(shown_path(root, home), f"{kinds} {ADD_FRAMES}")] if kinds else []
    if len(photos) >= FEWEST_FRAMES:
        where = "" if in_frames else ', then write [frames] source = "."'
        advice = f"{len(photos)} photos but no panel.toml: {make} makes one to fill in{where}"
    elif len(films) > 1:
        advice = f"{len(films)} films but no panel.toml: give each a folder of its own, then {make}"
    elif films:
        advice = (
            f'film {films[0]} but no panel.toml: {make}, then write [frames] source = "{films[0]}" '
            f"and {FILM_CLOCK}"
        )
    elif "marks.csv" in names:
        advice = f'marks.csv but no panel.toml: {make}, then write [frames] source = "marks.csv"'
    else:
        return []
    return [Unfinished(shown_path(root, home), advice)]


def _quoted(folder: Path) -> str:
    """Return a folder as it is typed where the search was started."""
    name = folder.as_posix()
    return f'"{name}"' if " " in name else name
