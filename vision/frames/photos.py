"""A folder of photos as frames in time order, one picture in memory at a time."""

from __future__ import annotations

import hashlib
import importlib.util
import math
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.common.outside.folder_contents import PHOTO_SUFFIXES as PHOTO_SUFFIXES
from vision.common.outside.folder_contents import pictures_there
from vision.common.outside.input_files import (
    MOST_PICTURE_BYTES,
    MOST_PIXELS,
    check_file,
    read_file,
    shown_name,
)
from vision.errors import WetlineError
from vision.frames.exif import HEIF_SUFFIXES, is_cut_short, read_header
from vision.frames.photo_times import Photo, PhotoTimes, in_time_order, natural_key
from vision.frames.prefetch import WORKERS, Ahead
from vision.frames.reader import Frames
from vision.records import Frame
from vision.settings.frame_settings import FrameSource

AHEAD_BYTES = 40_000_000
"""Pictures decoded in advance, whatever the photos' size: six at 1920 x 1080."""

_TURNS = {
    3: (cv2.ROTATE_180, None),
    6: (cv2.ROTATE_90_CLOCKWISE, None),
    8: (cv2.ROTATE_90_COUNTERCLOCKWISE, None),
    2: (None, 1),
    4: (None, 0),
    5: (cv2.ROTATE_90_CLOCKWISE, 1),
    7: (cv2.ROTATE_90_COUNTERCLOCKWISE, 1),
}


class PhotoFrames(Frames):
    """Photos of a folder in time order, decoded a little ahead."""

    decodes_ahead = True

    def __init__(
        self,
        photos: Sequence[Photo],
        notes: Sequence[str],
        times: PhotoTimes,
    ) -> None:
        self._photos = tuple(photos)
        self.notes = list(notes)
        self.warnings = times.warnings
        self.has_clock = times.has_clock
        self.utc_offset_s = times.utc_offset_s
        self.names = tuple(shown_name(photo.path) for photo in photos)
        self.clock_s = np.array([photo.clock_s for photo in photos])
        self.size = photos[0].header.size
        self.focal_35mm = photos[0].header.focal_35mm
        width, height = self.size
        ahead = max(WORKERS, AHEAD_BYTES // (3 * width * height))
        self._images = Ahead(decode_photo, self._photos, ahead)

    def __iter__(self) -> Iterator[Frame]:
        """Yield the photos that can be decoded; note the others."""
        for index, (photo, image) in enumerate(zip(self._photos, self._images, strict=True)):
            if image is None:
                note = f"{self.names[index]}: skipped, it cannot be decoded"
                if note not in self.notes:
                    self.notes.append(note)
                continue
            yield Frame(index, self.names[index], photo.clock_s, image)

    def read(self, index: int) -> Frame:
        """Decode one photo by its place; WetlineError if it cannot be."""
        photo = self._photos[index]
        place = range(len(self))[index]
        image = self._images.at(place)
        if image is None:
            raise WetlineError(
                f"{photo.path}: cannot be decoded: delete it or list it in [frames] skip"
            )
        return Frame(place, self.names[place], photo.clock_s, image)


def open_photos(source: FrameSource) -> PhotoFrames:
    """Order the photos of a folder in time, reading headers only.

    Photos that cannot be used are skipped with a note that names them: empty, cut short,
    unreadable, byte-for-byte copies, of another size than most, or without a capture time where
    most have one.

    Raises
    ------
    WetlineError
        If no photos are there, or their times are unknown.
    """
    folder = source.path
    paths = sorted(
        (p for p in folder.iterdir() if p.suffix.lower() in PHOTO_SUFFIXES and p.name[0] != "."),
        key=lambda p: natural_key(p.name),
    )
    if not paths:
        panel = folder if (folder / "panel.toml").exists() else folder.parent
        mend = pictures_there(panel) or "put them there"
        raise WetlineError(f"{folder}: no photos (JPEG, PNG, TIFF or HEIC): {mend}")
    _need_heif_reader(paths)
    notes: list[str] = []
    photos = _without_copies(_readable(paths, notes), notes)
    photos = _one_size(photos, notes)
    timed = in_time_order(photos, source.interval_s, folder)
    notes += timed.notes
    if not timed.photos:
        return _none_left(folder, notes)
    return PhotoFrames(timed.photos, notes, timed)


def _none_left(folder: Path, notes: Sequence[str]) -> PhotoFrames:
    raise WetlineError(f"{folder}: none of the photos can be used: {'; '.join(notes[:3])}")


def _need_heif_reader(paths: Sequence[Path]) -> None:
    heif = [path for path in paths if path.suffix.lower() in HEIF_SUFFIXES]
    if heif and importlib.util.find_spec("pillow_heif") is None:
        raise WetlineError(
            f'{heif[0]}: HEIC photos need one more package: pip install "wetline[heic]", or save '
            "the photos as JPEG"
        )


def _readable(paths: Sequence[Path], notes: list[str]) -> list[Photo]:
    photos = []
    for path in paths:
        try:
            why, header = "", None
            if check_file(path, MOST_PICTURE_BYTES) == 0:
                why = "the file is empty"
            elif math.prod((header := read_header(path)).size) > MOST_PIXELS:
                why = f"more than {MOST_PIXELS // 1_000_000} million pixels: save it smaller"
            elif is_cut_short(path):
                why = "the file is cut short"
        except (OSError, WetlineError):
            why = "not readable as a picture"
        if why or header is None:
            notes.append(f"{shown_name(path)}: skipped, {why}")
            continue
        photos.append(Photo(path, header))
    return photos


def _without_copies(photos: Sequence[Photo], notes: list[str]) -> list[Photo]:
    # Copies have the same header too: few files must be read whole.
    looks = [(photo.path.stat().st_size, photo.header) for photo in photos]
    alike = Counter(looks)
    seen: dict[bytes, str] = {}
    kept = []
    for photo, own in zip(photos, looks, strict=True):
        if alike[own] > 1:
            digest = hashlib.blake2b(read_file(photo.path, MOST_PICTURE_BYTES)).digest()
            if digest in seen:
                notes.append(f"{shown_name(photo.path)}: skipped, a copy of {seen[digest]}")
                continue
            seen[digest] = shown_name(photo.path)
        kept.append(photo)
    return kept


def _one_size(photos: Sequence[Photo], notes: list[str]) -> list[Photo]:
    if not photos:
        return []
    common = Counter(photo.header.size for photo in photos).most_common(1)[0][0]
    kept = []
    for photo in photos:
        if photo.header.size == common:
            kept.append(photo)
            continue
        (w, h), (common_w, common_h) = photo.header.size, common
        notes.append(
            f"{shown_name(photo.path)}: skipped, {w} x {h} pixels where most have {common_w} x "
            f"{common_h}"
        )
    return kept


def decode_photo(photo: Photo) -> NDArray[np.uint8] | None:
    """Decode a photo upright, blue green red; None if it cannot be, or is far too large."""
    if math.prod(photo.header.size) > MOST_PIXELS:
        return None
    if photo.path.suffix.lower() in HEIF_SUFFIXES:
        return _decode_heif(photo.path)
    try:
        data = np.frombuffer(read_file(photo.path, MOST_PICTURE_BYTES), dtype=np.uint8)
        image = cv2.imdecode(data, cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
    except (OSError, WetlineError, cv2.error):
        return None
    if image is None:
        return None
    upright = turn_upright(np.asarray(image, dtype=np.uint8), photo.header.orientation)
    return upright if upright.shape[1::-1] == photo.header.size else None


def turn_upright(image: NDArray[np.uint8], orientation: int) -> NDArray[np.uint8]:
    """Undo the orientation tag (1 to 8) of a decoded picture."""
    turn, flip = _TURNS.get(orientation, (None, None))
    if turn is not None:
        image = cv2.rotate(image, turn)  # type: ignore[assignment]
    if flip is not None:
        image = cv2.flip(image, flip)  # type: ignore[assignment]
    return image


def _decode_heif(path: Path) -> NDArray[np.uint8] | None:
    import pillow_heif

    try:
        picture = pillow_heif.open_heif(path).to_pillow().convert("RGB")
    except Exception:  # a damaged file makes the reader raise whatever it meets
        return None
    return np.ascontiguousarray(np.asarray(picture)[:, :, ::-1])
