"""A folder that another program fills with pictures."""

from __future__ import annotations

import time
from pathlib import Path

import cv2
import numpy as np

from vision.cameras.camera import Camera, Shot
from vision.frames.exif import PhotoHeader, is_cut_short, read_header
from vision.frames.photos import PHOTO_SUFFIXES, Photo, decode_photo, natural_key

POLL_S = 0.25
CLOCK_TRUST_S = 120.0
"""A photo's own time is taken when it is this close to when the file was written; else the
camera's clock is wrong and the computer's is taken, by which buttons are stamped too."""

JPEG_SUFFIXES = (".jpg", ".jpeg")


class FolderCamera(Camera):
    """Gives each new picture of a folder once it is whole.

    Parameters
    ----------
    path : Path
        The folder.
        Not the panel's own ``frames``: pictures are copied there with their times.

    Attributes
    ----------
    notes : list of str
        Pictures left out, and why.
    """

    def __init__(self, path: Path) -> None:
        self.name = f"folder {path.name}"
        self.path = path
        self.notes: list[str] = []
        self._sizes: dict[str, int] = {}
        # Pictures that were there before belong to another run.
        self._done = {p.name for p in _pictures(path)}

    def next(self, wait_s: float) -> Shot | None:
        """Give the next whole picture."""
        until = time.monotonic() + wait_s
        while True:
            shot = self._look()
            if shot is not None or time.monotonic() >= until:
                return shot
            time.sleep(min(POLL_S, max(wait_s, 0.01)))

    def _look(self) -> Shot | None:
        try:
            new = [p for p in _pictures(self.path) if p.name not in self._done]
        except OSError:
            self.fault = f"{self.path}: cannot be read: is the drive still there?"
            return None
        self.fault = ""
        for path in sorted(new, key=lambda p: (_written(p), natural_key(p.name))):
            if not self._is_whole(path):
                continue
            self._done.add(path.name)
            self._sizes.pop(path.name, None)
            shot = self._read(path)
            if shot is not None:
                return shot
            self.notes.append(f"{path.name}: left out, it cannot be read as a picture")
        return None

    def _is_whole(self, path: Path) -> bool:
        """Tell whether the file has stopped growing: the same size twice, and its end is there."""
        try:
            size = path.stat().st_size
            same = self._sizes.get(path.name) == size and size > 0
            self._sizes[path.name] = size
            return same and not is_cut_short(path)
        except OSError:
            return False

    def _read(self, path: Path) -> Shot | None:
        try:
            header = read_header(path)
            taken = photo_clock_s(header, _written(path))
            image = decode_photo(Photo(path, header))
            if image is None:
                return None
            if path.suffix.lower() in JPEG_SUFFIXES:
                data = path.read_bytes()
                if data[:3] == b"\xff\xd8\xff":
                    return Shot(data, taken, header.orientation)
        except OSError:
            return None
        ok, encoded = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, 95])
        return Shot(np.asarray(encoded).tobytes(), taken) if ok else None


def photo_clock_s(header: PhotoHeader, written_s: float) -> float:
    """Unix time of a photo from its header, or from when its file was written.

    Examples
    --------
    >>> photo_clock_s(PhotoHeader((9, 9), wall_s=7200.5, offset_s=7200.0), 3.0)
    0.5
    >>> photo_clock_s(PhotoHeader((9, 9), wall_s=99999.0, offset_s=0.0), 3.0)
    3.0
    """
    if header.wall_s is None or header.modified_only:
        return written_s
    offset = header.offset_s
    if offset is None:
        offset = float(time.localtime(written_s).tm_gmtoff or 0)
    taken = header.wall_s - offset
    return taken if abs(taken - written_s) <= CLOCK_TRUST_S else written_s


def _pictures(path: Path) -> list[Path]:
    return [p for p in path.iterdir() if p.suffix.lower() in PHOTO_SUFFIXES and p.name[0] != "."]


def _written(path: Path) -> float:
    try:
        return path.stat().st_mtime
    except OSError:
        return 0.0
