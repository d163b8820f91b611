"""The arrival map as NumPy and as plain TIFF, with its scale in the file and beside it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image

from vision.common.atomic_files import replace_file, write_text
from vision.records import ArrivalMap, BoolArray, FloatArray

SECONDS, SEEN, NUMPY, WORDS = (
    "arrival_s.tif",
    "arrival_seen.tif",
    "arrival_s.npy",
    "arrival_read_me.txt",
)
CENTIMETRE = 3
"""Resolution unit of a TIFF (TIFF 6.0, tag 296: 3 is the centimetre)."""


def arrival_words(name: str, arrival: ArrivalMap) -> str:
    """Write what the arrival files hold, for people and programs alike: a line for each fact."""
    filled = 100.0 * float(np.mean(~arrival.seen))
    return "\n".join(
        [
            f"panel: {name}",
            "quantity: time at which the resin came, in seconds since resin start",
            "infinity: not wetted while it was watched",
            f"watched_until_s: {arrival.last_s:.1f}",
            *size_words(arrival.time_s, arrival.mm_per_px),
            "x_mm: (column + 0.5) * mm_per_px, along the flow from the feed edge",
            "y_mm: (row + 0.5) * mm_per_px, across the flow; row 0 is the first line of the file",
            *file_words(filled),
        ]
    )


def size_words(time_s: FloatArray, mm_per_px: float) -> list[str]:
    """Write how large a map is, a line for each fact."""
    rows, columns = time_s.shape
    return [f"rows: {rows}", f"columns: {columns}", f"mm_per_px: {mm_per_px:.6f}"]


def file_words(filled_percent: float) -> list[str]:
    """Write what the files hold, whatever the map is of."""
    return [
        f"{SECONDS}: 32-bit floating point; pixels per centimetre in the resolution tags",
        f"{SEEN}: 255 where the spot was seen, 0 where it was filled from around it",
        f"filled_percent: {filled_percent:.1f}",
        f"{NUMPY}: the same numbers for NumPy, 32-bit floating point",
        "",
    ]


def write_arrival(folder: Path, name: str, arrival: ArrivalMap) -> None:
    """Write the map's files, each whole or not at all.

    Parameters
    ----------
    folder : Path
        Made if missing.
    name : str
        Of the panel.
    arrival : ArrivalMap

    Notes
    -----
    Source of the tags: TIFF revision 6.0 (1992): 270 description, 282 and 283 resolution along
    columns and rows, 296 its unit.
    """
    write_maps(
        folder,
        arrival.time_s,
        arrival.seen,
        arrival.mm_per_px,
        arrival_words(name, arrival),
    )


def write_maps(
    folder: Path, time_s: FloatArray, seen: BoolArray, mm_per_px: float, words: str
) -> None:
    """Write when each pixel wetted and whether it was seen, with the words that go with them.

    Parameters
    ----------
    folder : Path
        Made if missing.
    time_s : ndarray of shape (M, N), float
    seen : ndarray of shape (M, N), bool
    mm_per_px : float
    words : str
    """
    seconds = np.ascontiguousarray(time_s, dtype=np.float32)
    shown = np.where(seen, np.uint8(255), np.uint8(0))
    replace_file(folder / NUMPY, lambda part: _save_numpy(part, seconds))
    replace_file(
        folder / SECONDS,
        lambda part: _save_tiff(part, seconds, mm_per_px, "seconds since resin start"),
    )
    replace_file(
        folder / SEEN, lambda part: _save_tiff(part, shown, mm_per_px, "255 seen, 0 filled")
    )
    write_text(folder / WORDS, words)


def remove_arrival(folder: Path) -> None:
    """Remove the files of an earlier run, which would mislead beside one without a map."""
    for name in (SECONDS, SEEN, NUMPY, WORDS):
        (folder / name).unlink(missing_ok=True)


def _save_numpy(part: Path, values: np.ndarray) -> None:
    with part.open("wb") as file:
        np.save(file, values, allow_pickle=False)


def _save_tiff(part: Path, values: np.ndarray, mm_per_px: float, words: str) -> None:
    per_cm = 10.0 / mm_per_px
    Image.fromarray(values).save(
        part,
        format="TIFF",
        description=f"{words}; mm_per_px {mm_per_px:.6f}",
        resolution_unit=CENTIMETRE,
        x_resolution=per_cm,
        y_resolution=per_cm,
    )
