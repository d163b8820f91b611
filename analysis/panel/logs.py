"""Logs against time: gauge, viscosity, gel.

Tested in tests/analysis/panel/test_panel_toml.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from vision.common.csv_table import number_column, read_table
from vision.errors import bad_field
from vision.records import FloatArray

LONGEST_S = 864_000.0
"""No log of an infusion runs for longer than ten days (common practice, no source)."""

__all__ = ["number_column", "read_log", "read_table"]


def read_log(path: Path, names: Sequence[str]) -> tuple[FloatArray, ...]:
    """Read named columns of a log in time order; the first named must rise.

    Raises
    ------
    WetlineError
        As `read_table` and `number_column`, if two rows have the same time, or one lies more
        than ten days away.
    """
    table = read_table(path)
    columns = [number_column(path, table, name) for name in names]
    unit_s = {"time_s": 1.0, "time_min": 60.0, "time_h": 3600.0}.get(names[0], 0.0)
    far = np.flatnonzero(np.abs(columns[0]) * unit_s > LONGEST_S)
    if len(far):
        rule = "is more than ten days away from resin start: mend it"
        raise table.bad_cell(int(far[0]), names[0], rule)
    order = np.argsort(columns[0], kind="stable")
    sorted_columns = tuple(column[order] for column in columns)
    steps = np.diff(sorted_columns[0])
    if np.any(steps <= 0):
        at = sorted_columns[0][int(np.argmax(steps <= 0))]
        raise bad_field(path, names[0], f"{at:g}", "stands in two rows: keep one of them")
    return sorted_columns
