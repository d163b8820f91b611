"""Writing the panel folders: photos with capture times, time-lapse, truth, panel.toml."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from vision.common.atomic_files import replace_file

JPEG_QUALITY = 82
EXIF_IFD = 0x8769
DATE_TIME, DATE_TIME_ORIGINAL = 0x0132, 0x9003
OFFSET_TIME_ORIGINAL, SUB_SEC_TIME_ORIGINAL = 0x9011, 0x9291


def save_photo(
    path: Path, image: NDArray[np.uint8], taken: datetime, quality: int = JPEG_QUALITY
) -> None:
    """Write a JPEG with its capture time (Exif 2.32 tags: date, sub-seconds, offset from UTC)."""
    exif = Image.Exif()
    exif[DATE_TIME] = taken.strftime("%Y:%m:%d %H:%M:%S")
    inner = exif.get_ifd(EXIF_IFD)
    inner[DATE_TIME_ORIGINAL] = taken.strftime("%Y:%m:%d %H:%M:%S")
    inner[SUB_SEC_TIME_ORIGINAL] = f"{taken.microsecond // 1000:03d}"
    inner[OFFSET_TIME_ORIGINAL] = taken.strftime("%z")[:3] + ":" + taken.strftime("%z")[3:]
    picture = Image.fromarray(image)
    replace_file(
        path,
        lambda part: picture.save(part, "JPEG", quality=quality, exif=exif, subsampling=2),
    )


def save_video(
    path: Path,
    fps: float,
    size: tuple[int, int],
    feed: Callable[[Callable[[NDArray[np.uint8]], None]], None],
) -> None:
    """Write an mp4 (MPEG-4 Part 2); `feed` is handed the function that adds a frame."""

    def write(part: Path) -> None:
        code = cv2.VideoWriter.fourcc(*"mp4v")
        writer = cv2.VideoWriter(str(part), cv2.CAP_FFMPEG, code, fps, size)
        if not writer.isOpened():
            raise RuntimeError(f"{path}: OpenCV cannot write mp4 here")
        try:
            feed(lambda image: writer.write(np.ascontiguousarray(image[..., ::-1])))
        finally:
            writer.release()

    replace_file(path, write)


def save_arrival(path: Path, arrival_s: NDArray[np.float32]) -> None:
    """Write the true arrival map at 1 px/mm."""
    replace_file(
        path, lambda part: np.savez_compressed(part, time_s=arrival_s, px_per_mm=np.int64(1))
    )


def truth_text(head: dict[str, Any], frames: list[dict[str, Any]]) -> str:
    """Give truth.json: the head indented, one line for each frame."""
    top = json.dumps(head, indent=1)[:-2]
    rows = ",\n  ".join(json.dumps(f) for f in frames)
    return f'{top},\n "frames": [\n  {rows}\n ]\n}}\n'
