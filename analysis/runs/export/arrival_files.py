"""The arrival map as NumPy and as plain TIFF, with its scale in the file and beside it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image

from vision.common.atomic_files import replace_file, write_text
from vision.records import ArrivalMap

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
    rows, columns = arrival.time_s.shape
    filled = 100.0 * float(np.mean(~arrival.seen))
    return "\n".join(
        [
            f"panel: {name}",
            "quantity: time at which the resin came, in seconds since resin start",
            "infinity: not wetted while it was watched",
            f"watched_until_s: {arrival.last_s:.1f}",
            f"rows: {rows}",
            f"columns: {columns}",
            f"mm_per_px: {arrival.mm_per_px:.6f}",
            "x_mm: (column + 0.5) * mm_per_px, along the flow from the feed edge",
            "y_mm: (row + 0.5) * mm_per_px, across the flow; row 0 is the first line of the file",
            f"{SECONDS}: 32-bit floating point; pixels per centimetre in the resolution tags",
            f"{SEEN}: 255 where the spot was seen, 0 where it was filled from around it",
            f"filled_percent: {filled:.1f}",
            f"{NUMPY}: the same numbers for NumPy, 32-bit floating point",
            "",
        ]
    )


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
    seconds = np.ascontiguousarray(arrival.time_s, dtype=np.float32)
    seen = np.where(arrival.seen, np.uint8(255), np.uint8(0))
    replace_file(folder / NUMPY, lambda part: _save_numpy(part, seconds))
    replace_file(
        folder / SECONDS,
        lambda part: _save_tiff(part, seconds, arrival.mm_per_px, "seconds since resin start"),
    )
    replace_file(
        folder / SEEN, lambda part: _save_tiff(part, seen, arrival.mm_per_px, "255 seen, 0 filled")
    )
    write_text(folder / WORDS, arrival_words(name, arrival))


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
