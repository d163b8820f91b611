"""Gauge readings typed at the board while a run goes on: gauge.csv in the panel folder."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np

from analysis.panel.records import Log
from vision.common.atomic_files import write_text
from vision.common.outside.input_files import is_there, read_text
from vision.errors import WetlineError
from vision.settings.event_log import RESIN_OPEN, read_stamps, stamped_clock_s

MBAR_PA = 100.0
FILE = "gauge.csv"
HEADER = ("clock_s", "bag_mbar")
MOST_MBAR = 1100.0


def add_reading(folder: Path, clock_s: float, bag_mbar: float) -> None:
    """Add one absolute bag pressure to ``gauge.csv``.

    Raises
    ------
    WetlineError
        If it cannot be true.
    """
    if not 0.0 <= bag_mbar <= MOST_MBAR:
        raise WetlineError(
            f"gauge reading = {bag_mbar:g}: must be the pressure in the bag in mbar absolute, "
            f"0 to {MOST_MBAR:.0f}"
        )
    rows = [*read_readings(folder), (clock_s, bag_mbar)]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEADER)
    writer.writerows((f"{t:.1f}", f"{p:g}") for t, p in rows)
    write_text(folder / FILE, out.getvalue())


def read_readings(folder: Path) -> list[tuple[float, float]]:
    """Read the readings so far as (Unix time, mbar absolute)."""
    path = folder / FILE
    if not is_there(path):
        return []
    try:
        table = csv.DictReader(io.StringIO(read_text(path), newline=""))
        rows = [(float(row["clock_s"]), float(row["bag_mbar"])) for row in table]
        if not np.isfinite(rows).all():
            raise ValueError("not finite")
    except (OSError, KeyError, TypeError, ValueError, csv.Error) as error:
        raise WetlineError(f"{path}: cannot be read: mend it or move it away") from error
    return rows


def gauge_log(folder: Path, ambient_pa: float) -> Log | None:
    """Return the pull on the bag during the run, from the readings typed at the board.

    Parameters
    ----------
    folder : Path
        Panel folder with ``gauge.csv`` and the stamp of resin open in ``stamps.csv``.
    ambient_pa : float
        Air pressure in the shop.

    Returns
    -------
    log : Log or None
        Seconds since resin open and pressure difference in Pa; the last reading before resin
        open stands at 0. None with fewer than two readings or without the stamp.
    """
    readings = sorted(read_readings(folder))
    start = stamped_clock_s(read_stamps(folder), RESIN_OPEN) if readings else None
    if start is None:
        return None
    before = [bag for clock_s, bag in readings if clock_s <= start]
    during = [(clock_s - start, bag) for clock_s, bag in readings if clock_s > start]
    rows = [*((0.0, bag) for bag in before[-1:]), *during]
    if len(rows) < 2:
        return None
    time_s, bag_mbar = np.array(rows).T
    return Log(time_s, np.maximum(ambient_pa - bag_mbar * MBAR_PA, 0.0))
