"""Reading the small CSV logs a shop keeps: gauge, viscosity, gel."""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from vision.errors import WetlineError, bad_field
from vision.records import FloatArray


def read_table(path: Path) -> dict[str, list[str]]:
    """Read a CSV with one header row; comma, semicolon or tab between columns.

    Lines that start with ``#`` are left out. Header names are put in lower case.

    Raises
    ------
    WetlineError
        If the file is missing, is not text, or holds no rows.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError as error:
        raise WetlineError(f"{path}: not found: put the log there or take its name out") from error
    except (OSError, UnicodeDecodeError) as error:
        raise WetlineError(f"{path}: cannot be read as text: save it as CSV in UTF-8") from error
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    if len(lines) < 2:
        raise WetlineError(f"{path}: holds no rows: it needs a header row and readings below it")
    mark = max(",;\t", key=lines[0].count)
    rows = list(csv.reader(lines, delimiter=mark))
    names = [name.strip().lower() for name in rows[0]]
    width = len(names)
    for number, row in enumerate(rows[1:], start=2):
        if len(row) < width:
            raise WetlineError(
                f"{path}: row {number} has {len(row)} columns where the header has {width}: mend it"
            )
    return {
        name: [row[i].strip() for row in rows[1:]] for i, name in enumerate(names) if name != ""
    }


def number_column(path: Path, table: dict[str, list[str]], name: str) -> FloatArray:
    """Give one column as numbers; a decimal comma is understood.

    Raises
    ------
    WetlineError
        If the column is missing or a value is not a finite number (with its row).
    """
    if name not in table:
        raise bad_field(path, f"column {name}", "(missing)", "add it to the header row")
    values = []
    for number, text in enumerate(table[name], start=2):
        try:
            value = float(text.replace(",", "."))
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise bad_field(path, f"row {number} {name}", text or "(empty)", "must be a number")
        values.append(value)
    return np.array(values)


def read_log(path: Path, names: Sequence[str]) -> tuple[FloatArray, ...]:
    """Read named columns of a log in time order; the first named must rise.

    Raises
    ------
    WetlineError
        As `read_table` and `number_column`, and if two rows have the same time.
    """
    table = read_table(path)
    columns = [number_column(path, table, name) for name in names]
    order = np.argsort(columns[0], kind="stable")
    sorted_columns = tuple(column[order] for column in columns)
    steps = np.diff(sorted_columns[0])
    if np.any(steps <= 0):
        at = sorted_columns[0][int(np.argmax(steps <= 0))]
        raise bad_field(path, names[0], f"{at:g}", "stands in two rows: keep one of them")
    return sorted_columns
