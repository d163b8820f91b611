"""What a photo's header tells, read without decoding the picture."""

from __future__ import annotations

import math
import os
import warnings
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from PIL import Image

from vision.common.outside.input_files import MOST_PICTURE_BYTES, check_file

HEIF_SUFFIXES = (".heic", ".heif")
_EXIF_IFD = 0x8769
_ORIENTATION, _DATE_TIME = 0x0112, 0x0132
_ORIGINAL, _DIGITIZED = 0x9003, 0x9004
_SUB_SECOND = {_ORIGINAL: 0x9291, _DIGITIZED: 0x9292, _DATE_TIME: 0x9290}
_OFFSET = {_ORIGINAL: 0x9011, _DIGITIZED: 0x9012, _DATE_TIME: 0x9010}
_FOCAL_35MM = 0xA405
_TAIL_BYTES = 65536


@dataclass(frozen=True)
class PhotoHeader:
    """Header of one photo.

    Attributes
    ----------
    size : (int, int)
        Width and height as shown, after the orientation tag.
    orientation : int
        The tag, 1 to 8; 1 is upright.
    wall_s : float or None
        Capture time as the camera's clock showed it, read as if it were UTC, in Unix seconds.
    fine : bool
        Whether the capture time has fractions of a second.
    modified_only : bool
        True when only the file's change time was there, which editing overwrites.
    offset_s : float or None
        The camera clock's offset from UTC.
    focal_35mm : float or None
        Focal length as for 35 mm film.
    """

    size: tuple[int, int]
    orientation: int = 1
    wall_s: float | None = None
    fine: bool = False
    modified_only: bool = False
    offset_s: float | None = None
    focal_35mm: float | None = None


def read_header(path: Path) -> PhotoHeader:
    """Read size, orientation and capture time.

    Raises
    ------
    OSError
        If the file is not a picture or no plain file (Pillow's own errors are OSErrors too).

    Notes
    -----
    Source of the tags: CIPA DC-008 (Exif 2.32), tags DateTimeOriginal, SubSecTimeOriginal,
    OffsetTimeOriginal, Orientation, FocalLengthIn35mmFilm.
    """
    try:
        check_file(path, MOST_PICTURE_BYTES)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            if path.suffix.lower() in HEIF_SUFFIXES:
                return _from_exif(*_open_heif(path))
            with Image.open(path) as image:
                png = image.format == "PNG"
                return _from_exif(image.size, _png_exif(path) if png else image.getexif())
    except OSError:
        raise
    except Exception as error:  # a damaged header makes the readers raise whatever they meet
        raise OSError(str(error)) from error


def _open_heif(path: Path) -> tuple[tuple[int, int], Image.Exif]:
    import pillow_heif

    image = pillow_heif.open_heif(path).to_pillow()
    exif = image.getexif()
    exif[_ORIENTATION] = 1  # the opener has turned the picture upright already
    return image.size, exif


def _png_exif(path: Path) -> Image.Exif:
    """Find a PNG's eXIf chunk by walking over the others (Pillow would decode the picture)."""
    exif = Image.Exif()
    with path.open("rb") as file:
        file.seek(8)
        while len(head := file.read(8)) == 8 and head[4:] != b"IEND":
            length = int.from_bytes(head[:4], "big")
            if head[4:] == b"eXIf":
                exif.load(b"Exif\0\0" + file.read(length))
                break
            file.seek(length + 4, os.SEEK_CUR)
    return exif


def _from_exif(size: tuple[int, int], exif: Image.Exif) -> PhotoHeader:
    tags: dict[int, Any] = {**dict(exif), **exif.get_ifd(_EXIF_IFD)}
    orientation = tags.get(_ORIENTATION, 1)
    orientation = orientation if orientation in range(1, 9) else 1
    if orientation >= 5:
        size = (size[1], size[0])
    for tag in (_ORIGINAL, _DIGITIZED, _DATE_TIME):
        wall = parse_time(tags.get(tag))
        if wall is not None:
            fraction = parse_fraction(tags.get(_SUB_SECOND[tag]))
            return PhotoHeader(
                size,
                orientation,
                wall + (fraction or 0.0),
                fine=fraction is not None,
                modified_only=tag == _DATE_TIME,
                offset_s=parse_offset(tags.get(_OFFSET[tag])),
                focal_35mm=_positive(tags.get(_FOCAL_35MM)),
            )
    return PhotoHeader(size, orientation, focal_35mm=_positive(tags.get(_FOCAL_35MM)))


def parse_time(text: object) -> float | None:
    """Read ``YYYY:MM:DD HH:MM:SS`` as Unix seconds, taking the wall clock for UTC.

    Examples
    --------
    >>> parse_time("1970:01:02 00:00:05"), parse_time("0000:00:00 00:00:00")
    (86405.0, None)
    """
    if not isinstance(text, str):
        return None
    try:
        read = datetime.strptime(text.strip("\0 ")[:19].replace("-", ":"), "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    return read.replace(tzinfo=UTC).timestamp()


def parse_fraction(text: object) -> float | None:
    """Read the digits after the decimal point.

    Examples
    --------
    >>> parse_fraction("045"), parse_fraction(" ")
    (0.045, None)
    """
    digits = str(text).strip("\0 ") if isinstance(text, str | int) else ""
    return float(f"0.{digits}") if digits.isascii() and digits.isdigit() else None


def parse_offset(text: object) -> float | None:
    """Read an offset from UTC such as ``+02:00`` in seconds.

    Examples
    --------
    >>> parse_offset("+02:00"), parse_offset("-03:30"), parse_offset("Z"), parse_offset("   ")
    (7200.0, -12600.0, 0.0, None)
    """
    if not isinstance(text, str):
        return None
    text = text.strip("\0 ")
    if text == "Z":
        return 0.0
    if len(text) != 6 or text[0] not in "+-" or text[3] != ":":
        return None
    if not (text[1:3].isdigit() and text[4:6].isdigit()):
        return None
    size = int(text[1:3]) * 3600.0 + int(text[4:6]) * 60.0
    return -size if text[0] == "-" else size


def _positive(value: object) -> float | None:
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return None
    return number if 0 < number < math.inf else None


def is_cut_short(path: Path) -> bool:
    """Return whether the end of a JPEG, PNG or TIFF file is missing.

    A decoder may fill what is missing with grey and say nothing. The end mark is looked for at
    the very end, in the last 64 kB, then, because phones may append a film clip, in the whole file.

    Notes
    -----
    Source of the marks: ITU-T T.81 (JPEG, EOI after the start of scan), W3C PNG (IEND), TIFF
    6.0 (strip and tile offsets and byte counts).

    Raises
    ------
    OSError
        If the file cannot be read.
    """
    try:
        return _cut_short(path)
    except OSError:
        raise
    except Exception as error:  # as in `read_header`
        raise OSError(str(error)) from error


def _cut_short(path: Path) -> bool:
    with path.open("rb") as file:
        head = file.read(8)
        if head[:2] == b"\xff\xd8":
            return not _has_jpeg_end(file)
        if head == b"\x89PNG\r\n\x1a\n":
            file.seek(max(0, file.seek(0, os.SEEK_END) - _TAIL_BYTES))
            return b"IEND" not in file.read()
    if head[:4] in (b"II*\0", b"MM\0*"):
        return _tiff_cut_short(path)
    return False


def _has_jpeg_end(file: Any) -> bool:
    size = os.fstat(file.fileno()).st_size
    scan = _start_of_scan(file, size)
    if scan is None:
        return False
    # Nearly every file ends with the mark.
    for start in (max(scan, size - 2), max(scan, size - _TAIL_BYTES), scan):
        file.seek(start)
        if b"\xff\xd9" in file.read():
            return True
    return False


def _start_of_scan(file: Any, size: int) -> int | None:
    """Walk over the header segments (a thumbnail in there has an end mark of its own)."""
    place = 2
    while place + 4 <= size:
        file.seek(place)
        mark = file.read(4)
        if mark[0] != 0xFF:
            return None
        if mark[1] == 0xFF:
            place += 1
        elif mark[1] == 0xDA:
            return int(place)
        else:
            place += 2 + int.from_bytes(mark[2:4], "big")
    return None


def _tiff_cut_short(path: Path) -> bool:
    size = path.stat().st_size
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with Image.open(path) as image:
            tags = getattr(image, "tag_v2", {})
            for offsets, counts in ((273, 279), (324, 325)):
                ends = zip(tags.get(offsets, ()), tags.get(counts, ()), strict=False)
                if any(start + count > size for start, count in ends):
                    return True
    return False
