"""What lies in a panel folder where its pictures were not found, and the line to write then.

Nothing is moved, copied or unpacked: only the user knows which pictures are the run's.
"""

from __future__ import annotations

from pathlib import Path

PHOTO_SUFFIXES = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif")
VIDEO_SUFFIXES = (".mp4", ".mov", ".m4v", ".avi", ".mkv", ".webm", ".mts")
PACKED_SUFFIXES = (".zip", ".7z", ".rar", ".tar", ".gz", ".tgz")
OUR_OWN = ("results", "stages", "truth")
"""Folders whose pictures are not those of a run."""


def pictures_there(folder: Path) -> str:
    """Return what a panel folder holds that may be the run, and what to write; empty if nothing.

    Looks into the folder and two folders deep.

    Parameters
    ----------
    folder : Path
        The panel folder.
    """
    found = []
    for place in [folder, *_inside(folder)]:
        name = place.relative_to(folder).as_posix()
        photos = _with(place, PHOTO_SUFFIXES)
        if len(photos) > 1:
            where = "the folder itself" if name == "." else f"{name}/"
            found.append(
                f'{len(photos)} photos lie in {where}: write source = "{name}" under [frames]'
            )
        for film in _with(place, VIDEO_SUFFIXES):
            text = film.relative_to(folder).as_posix()
            found.append(f'there is a film {text}: write source = "{text}" under [frames]')
        for packed in _with(place, PACKED_SUFFIXES):
            text = packed.relative_to(folder).as_posix()
            found.append(f"{text} is packed: unpack it and put its photos into frames/")
    return "; or ".join(found[:3])


def _inside(folder: Path, deep: int = 2) -> list[Path]:
    """Return the folders in a folder that may hold pictures, in order of name."""
    if deep == 0 or not folder.is_dir():
        return []
    inner = sorted(
        path
        for path in folder.iterdir()
        if path.is_dir() and path.name[0] not in "._" and path.name not in OUR_OWN
    )
    return [place for path in inner for place in (path, *_inside(path, deep - 1))]


def _with(folder: Path, suffixes: tuple[str, ...]) -> list[Path]:
    if not folder.is_dir():
        return []
    return sorted(
        path
        for path in folder.iterdir()
        if path.suffix.lower() in suffixes and path.name[0] != "." and path.is_file()
    )
