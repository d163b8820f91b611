"""A folder that another program fills with pictures."""

from __future__ import annotations

import time
from pathlib import Path

import cv2
import numpy as np

from vision.cameras.camera import Camera, Shot
from vision.common.atomic_files import replace_file
from vision.common.outside.input_files import (
    MOST_PICTURE_BYTES,
    check_file,
    read_file,
    shown_name,
)
from vision.errors import WetlineError
from vision.frames.exif import PhotoHeader, is_cut_short, read_header
from vision.frames.photo_times import Photo, natural_key
from vision.frames.photos import PHOTO_SUFFIXES, decode_photo

POLL_S = 0.25
CLOCK_TRUST_S = 120.0
"""A photo's own time is taken when it is this close to when the file was written; else the
camera's clock is wrong and the computer's is taken, by which buttons are stamped too."""

JPEG_SUFFIXES = (".jpg", ".jpeg")


class FolderCamera(Camera):
    """Source of each new picture of a folder once it is whole.

    Parameters
    ----------
    path : Path
        The folder.
        Not the panel's own ``frames``: pictures are copied there with their times.
    journal : Path, optional
        Text file that keeps which pictures are dealt with, so that those which arrive between a
        crash and the restart are still taken in. One that tells of another folder begins anew.

    Attributes
    ----------
    notes : list of str
        Pictures left out, and why.
    """

    def __init__(self, path: Path, journal: Path | None = None) -> None:
        self.name = f"folder {path.name}"
        self.path = path
        self.notes: list[str] = []
        self._sizes: dict[str, int] = {}
        self._journal = journal
        self._handed_on = ""
        done = None if journal is None else read_journal(journal, path)
        # At the first start, pictures that are there already belong to another run.
        self._done = {p.name for p in _pictures(path)} if done is None else done
        if journal is not None and done is None:
            begin_journal(journal, path, self._done)

    def next(self, wait_s: float) -> Shot | None:
        """Return the next whole picture; the one before it is then taken to be on disk."""
        self._note_done(self._handed_on)
        self._handed_on = ""
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
                self._handed_on = path.name
                return shot
            self._note_done(path.name)
            self.notes.append(f"{shown_name(path)}: left out, it cannot be read as a picture")
        return None

    def _note_done(self, name: str) -> None:
        if not name or self._journal is None:
            return
        try:
            with self._journal.open("a", encoding="utf-8", errors="surrogateescape") as file:
                file.write(name + "\n")
        except OSError:
            # At worst the picture is taken in twice after a crash; doubles are left out.
            self.fault = f"{self._journal}: cannot be written: is the disk full?"

    def _is_whole(self, path: Path) -> bool:
        """Return whether the file has stopped growing: one size twice, and its end is there."""
        try:
            size = check_file(path, MOST_PICTURE_BYTES)
            same = self._sizes.get(path.name) == size and size > 0
            self._sizes[path.name] = size
            return same and not is_cut_short(path)
        except (OSError, WetlineError):
            return False

    def _read(self, path: Path) -> Shot | None:
        try:
            header = read_header(path)
            taken = photo_clock_s(header, _written(path))
            image = decode_photo(Photo(path, header))
            if image is None:
                return None
            if path.suffix.lower() in JPEG_SUFFIXES:
                data = read_file(path, MOST_PICTURE_BYTES)
                if data[:3] == b"\xff\xd8\xff":
                    return Shot(data, taken, header.orientation)
        except OSError:
            return None
        ok, encoded = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, 95])
        return Shot(np.asarray(encoded).tobytes(), taken) if ok else None


def begin_journal(journal: Path, folder: Path, names: set[str]) -> None:
    """Write a new journal: the folder's place, then the pictures that need no look."""
    lines = [str(folder.resolve()), *sorted(names)]
    text = "".join(f"{line}\n" for line in lines)
    data = text.encode("utf-8", "surrogateescape")
    journal.parent.mkdir(parents=True, exist_ok=True)
    replace_file(journal, lambda part: part.write_bytes(data))


def read_journal(journal: Path, folder: Path) -> set[str] | None:
    """Return the pictures of `folder` that were dealt with; None where the journal is not its."""
    try:
        lines = journal.read_text(encoding="utf-8", errors="surrogateescape").split("\n")
    except OSError:
        return None
    if lines[0] != str(folder.resolve()):
        return None
    # A last line without its end was cut short by a crash: that picture is taken in again.
    return set(lines[1:-1])


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
