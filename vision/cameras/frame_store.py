"""Every picture goes to disk first, with its time, so that a run can always be tracked again."""

from __future__ import annotations

import shutil
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from PIL import Image

from vision.cameras.camera import Shot
from vision.common.atomic_files import replace_file, sweep_leftovers
from vision.errors import WetlineError

LOW_FRAMES = 400
LOW_BYTES = 500_000_000
"""Warn when the disk has room for fewer frames, or fewer bytes, than these."""

MOST_HELD_BYTES = 60_000_000
_EXIF_IFD = 0x8769
_ORIENTATION, _SOFTWARE = 0x0112, 0x0131
_ORIGINAL, _SUB_SECOND, _OFFSET = 0x9003, 0x9291, 0x9011
_START, _EXIF_MARK = b"\xff\xd8", b"Exif\0\0"


@dataclass(frozen=True)
class StoredFrame:
    """A frame on disk."""

    path: Path
    clock_s: float


class FrameStore:
    """Writes pictures into a panel's ``frames`` folder.

    Parameters
    ----------
    folder : Path
        The ``frames`` folder; made if missing.
    free_bytes : callable
        Gives the free space of the disk; for trying a full one.
    write : callable
        Writes one file whole; for trying a full disk.

    Attributes
    ----------
    fault : str
        Why the last picture is not on disk; empty when it is.
    """

    def __init__(
        self,
        folder: Path,
        free_bytes: Callable[[Path], int] = lambda path: shutil.disk_usage(path).free,
        write: Callable[[Path, bytes], None] | None = None,
    ) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        sweep_leftovers(folder)
        self.folder, self._free_bytes = folder, free_bytes
        self._write_file = write or _write_bytes
        self.fault = ""
        self._mean_bytes = 0.0
        self._held: deque[tuple[float, bytes]] = deque()
        self._lock = threading.Lock()

    def write(self, shot: Shot) -> list[StoredFrame]:
        """Write a picture, and before it those that found the disk full.

        Returns
        -------
        frames : list of StoredFrame
            What is on disk now that was not; empty while the disk is full. Up to 60 MB are held
            in memory meanwhile; past that the oldest is lost, and `fault` says so.

        Raises
        ------
        WetlineError
            If the picture is no JPEG.
        """
        data = with_time(shot.data, shot.clock_s, shot.orientation)
        with self._lock:
            self._held.append((round(shot.clock_s, 3), data))
            written: list[StoredFrame] = []
            while self._held:
                try:
                    written.append(self._put(*self._held[0]))
                except WetlineError as error:
                    self._hold_back(str(error))
                    break
                self._held.popleft()
                self.fault = ""
            return written

    @property
    def held(self) -> int:
        """Pictures waiting for room on the disk."""
        return len(self._held)

    def _hold_back(self, why: str) -> None:
        lost = 0
        while len(self._held) > 1 and sum(len(d) for _, d in self._held) > MOST_HELD_BYTES:
            self._held.popleft()
            lost += 1
        self.fault = f"{why}; {len(self._held)} pictures wait in memory" + (
            ", older ones are lost" if lost else ""
        )

    def _put(self, clock_s: float, data: bytes) -> StoredFrame:
        path = self._free_name(clock_s)
        self._write_file(path, data)
        self._mean_bytes += (len(data) - self._mean_bytes) / (10 if self._mean_bytes else 1)
        return StoredFrame(path, clock_s)

    def _free_name(self, clock_s: float) -> Path:
        local = datetime.fromtimestamp(clock_s).astimezone()
        stem = f"{local:%Y%m%d-%H%M%S}-{local.microsecond // 1000:03d}"
        path, number = self.folder / f"{stem}.jpg", 2
        while path.exists():
            path, number = self.folder / f"{stem}-{number}.jpg", number + 1
        return path

    def space_warning(self) -> str:
        """Return how much room is left, in words, when it is little; empty when there is enough."""
        try:
            free = self._free_bytes(self.folder)
        except OSError:
            return f"{self.folder}: the disk cannot be reached"
        frames = int(free / self._mean_bytes) if self._mean_bytes else LOW_FRAMES
        if free >= LOW_BYTES and frames >= LOW_FRAMES:
            return ""
        room = f", about {frames} more pictures" if self._mean_bytes else ""
        return f"the disk is nearly full: {free / 1e6:.0f} MB left{room}: free some space now"


def _write_bytes(path: Path, data: bytes) -> None:
    replace_file(path, lambda part: part.write_bytes(data))


def with_time(jpeg: bytes, clock_s: float, orientation: int = 1) -> bytes:
    """Write into a JPEG the time it was taken at, without touching the picture itself.

    Parameters
    ----------
    jpeg : bytes
    clock_s : float
        Unix time. Written as this computer's local time with its offset and milliseconds.
    orientation : int
        Kept as the camera had it.

    Raises
    ------
    WetlineError
        If `jpeg` is no JPEG.

    Notes
    -----
    Source: CIPA DC-008 (Exif 2.32) for the tags, ITU-T T.81 for the segments. An Exif segment
    that was there is left out, so that place, owner and a wrong clock do not go into the record.
    """
    if jpeg[:2] != _START:
        raise WetlineError("picture: not a JPEG: set the camera to JPEG")
    local = datetime.fromtimestamp(round(clock_s, 3)).astimezone()
    exif = Image.Exif()
    exif[_ORIENTATION] = orientation
    exif[_SOFTWARE] = "Wetline"
    exif.get_ifd(_EXIF_IFD).update(
        {
            _ORIGINAL: local.strftime("%Y:%m:%d %H:%M:%S"),
            _SUB_SECOND: f"{local.microsecond // 1000:03d}",
            _OFFSET: _offset_text(local),
        }
    )
    body = exif.tobytes()
    if not body.startswith(_EXIF_MARK):
        body = _EXIF_MARK + body
    segment = b"\xff\xe1" + (len(body) + 2).to_bytes(2, "big") + body
    return _START + segment + _without_exif(jpeg)


def _offset_text(local: datetime) -> str:
    text = local.strftime("%z")
    return f"{text[:3]}:{text[3:5]}"


def _without_exif(jpeg: bytes) -> bytes:
    """Return all after the start mark, less the Exif segments before the scan."""
    kept, place = [], 2
    while place + 4 <= len(jpeg) and jpeg[place] == 0xFF and jpeg[place + 1] != 0xDA:
        if jpeg[place + 1] == 0xFF:
            place += 1
            continue
        end = place + 2 + int.from_bytes(jpeg[place + 2 : place + 4], "big")
        if not (jpeg[place + 1] == 0xE1 and jpeg[place + 4 : place + 10] == _EXIF_MARK):
            kept.append(jpeg[place:end])
        place = end
    return b"".join(kept) + jpeg[place:]
