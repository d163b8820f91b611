"""front.csv: one row per frame, for the fit and for a spreadsheet."""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path

import numpy as np

from vision.common.atomic_files import first_run, write_text
from vision.common.outside.input_files import read_text
from vision.errors import WetlineError
from vision.records import CURVE_NUMBERS, FrontCurve, SecondFront

NUMBERS = ("time_s", *CURVE_NUMBERS[:6])
EXTRA = CURVE_NUMBERS[6:]
HEADER = ("frame", *NUMBERS, "used", "note", *EXTRA)
SECOND_HEADER = ("change", "time_s", "front_mm", "front_sd_mm")
LATELY_ADDED = ("front_half_mm", "front_band_mm")
"""Columns that a table of an earlier version lacks."""


def write_front_csv(path: Path, curve: FrontCurve) -> None:
    """Write a front curve; NaN becomes an empty cell."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEADER)
    for k, name in enumerate(curve.frames):
        writer.writerow(
            [
                name,
                *(_text(getattr(curve, key)[k], key) for key in NUMBERS),
                "yes" if curve.used[k] else "no",
                curve.notes[k],
                *(_text(getattr(curve, key)[k], key) for key in EXTRA),
            ]
        )
    write_text(path, out.getvalue())


def _text(value: float, key: str) -> str:
    if not math.isfinite(value):
        return ""
    return f"{value:.5f}" if key == "wetted_fraction" else f"{value:.3f}"


def read_front_csv(path: Path) -> FrontCurve:
    """Read a front curve that `write_front_csv` wrote.

    Raises
    ------
    WetlineError
        If the file is missing, lacks a column or holds what is no number.
    """
    try:
        rows = list(csv.DictReader(io.StringIO(read_text(path), newline="")))
    except FileNotFoundError as error:
        raise WetlineError(f"{path}: not there yet: {first_run(path)}") from error
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise WetlineError(f"{path}: cannot be read: run `wetline track` again") from error
    if not rows or any(key not in rows[0] for key in HEADER if key not in LATELY_ADDED):
        raise WetlineError(f"{path}: not a front table: run `wetline track` again")
    try:
        columns = {
            key: np.array([float(row[key]) if row[key] else math.nan for row in rows])
            for key in (*NUMBERS, *EXTRA)
            if key in rows[0]
        }
    except (TypeError, ValueError) as error:
        raise WetlineError(f"{path}: {error}: run `wetline track` again") from error
    if not np.isfinite(columns["time_s"]).all() or any(np.isinf(c).any() for c in columns.values()):
        raise WetlineError(f"{path}: holds what is no finite number: run `wetline track` again")
    return FrontCurve.of(
        flow="point" if np.isfinite(columns["semi_major_mm"]).any() else "edge",
        frames=tuple(row["frame"] for row in rows),
        used=np.array([row["used"] == "yes" for row in rows]),
        notes=tuple(row["note"] or "" for row in rows),
        **columns,
    )


def write_second_front(path: Path, second: SecondFront) -> None:
    """Write the front of the change that is not followed; NaN becomes an empty cell."""
    lines = [",".join(SECOND_HEADER)]
    for numbers in zip(second.time_s, second.front_mm, second.sd_mm, strict=True):
        lines.append(",".join([second.which, *(_text(value, "") for value in numbers)]))
    write_text(path, "\n".join(lines) + "\n")


def read_second_front_csv(path: Path) -> SecondFront | None:
    """Read what `write_second_front` wrote; None where only one change passed.

    Raises
    ------
    WetlineError
        If it is there and not such a table.
    """
    if not path.exists():
        return None
    try:
        rows = list(csv.DictReader(io.StringIO(read_text(path))))
        columns = [
            np.array([float(row[key]) if row[key] else math.nan for row in rows])
            for key in SECOND_HEADER[1:]
        ]
        return SecondFront(rows[0]["change"], *columns)
    except (KeyError, IndexError, TypeError, ValueError, csv.Error) as error:
        raise WetlineError(f"{path}: cannot be read: run `wetline track` again") from error
