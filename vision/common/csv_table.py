"""The small CSV tables a shop keeps: marks, corrections, gauge, viscosity and gel logs."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from vision.common.outside.input_files import read_text
from vision.common.quantity import plain_number
from vision.errors import WetlineError, bad_field, did_you_mean


@dataclass(frozen=True)
class CsvTable(Mapping[str, list[str]]):
    """A table by columns; its keys are the header's names in lower case.

    Attributes
    ----------
    path : Path
        The file, for messages.
    columns : mapping of str to list of str
        The cells of each column, without blanks around them.
    lines : tuple of int
        The line of the file that each row stands in, counted from 1.
    """

    path: Path
    columns: Mapping[str, list[str]]
    lines: tuple[int, ...]

    def __getitem__(self, name: str) -> list[str]:
        return self.columns[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self.columns)

    def __len__(self) -> int:
        return len(self.columns)

    def bad_cell(self, row: int, name: str, rule: str) -> WetlineError:
        """Return the error for one cell, with the line of the file it stands in."""
        text = self.columns[name][row] or "(empty)"
        return bad_field(self.path, f"row {self.lines[row]}, {name}", text, rule)

    def pick(self, names: Sequence[str], what: str = "") -> str:
        """Return the first of `names` that is a column.

        Raises
        ------
        WetlineError
            If none is there, with the header and the nearest name.
        """
        found = next((name for name in names if name in self.columns), None)
        if found is not None:
            return found
        near = next(filter(None, (did_you_mean(name, names) for name in self.columns)), "")
        wanted = what or " or ".join(names)
        raise bad_field(self.path, "header", ", ".join(self.columns), f"must hold {wanted}{near}")


def read_table(path: Path) -> CsvTable:
    """Read a CSV with one header row; comma, semicolon or tab between columns.

    Lines that start with ``#`` are left out. Header names are put in lower case.

    Raises
    ------
    WetlineError
        If the file is missing, is not text, holds no rows, names a column twice, or a row has
        other columns than the header.
    """
    try:
        text = read_text(path)
    except FileNotFoundError as error:
        raise WetlineError(f"{path}: not found: put the log there or take its name out") from error
    except (OSError, UnicodeDecodeError) as error:
        raise WetlineError(f"{path}: cannot be read as text: save it as CSV in UTF-8") from error
    kept = [
        (number, line)
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip(" ,;\t") and not line.startswith("#")
    ]
    if len(kept) < 2:
        raise WetlineError(f"{path}: holds no rows: it needs a header row and readings below it")
    mark = max(",;\t", key=kept[0][1].count)
    try:
        rows = [next(csv.reader([line], delimiter=mark)) for _, line in kept]
    except (csv.Error, StopIteration) as error:
        raise WetlineError(f"{path}: is no table of short cells: save it as CSV again") from error
    names = [name.strip().lower() for name in rows[0]]
    named = [name for name in names if name]
    if len(set(named)) < len(named):
        twice = next(name for name in named if named.count(name) > 1)
        raise bad_field(path, "header", ", ".join(named), f"names {twice} twice: keep one of them")
    lines = tuple(number for number, _ in kept[1:])
    for number, row in zip(lines, rows[1:], strict=True):
        _same_width(path, number, row, len(names), mark)
    columns = {
        name: [row[i].strip() for row in rows[1:]] for i, name in enumerate(names) if name != ""
    }
    return CsvTable(path, columns, lines)


def _same_width(path: Path, number: int, row: list[str], width: int, mark: str) -> None:
    """Refuse a row with other columns than the header; empty cells at its end do no harm."""
    extra = any(cell.strip() for cell in row[width:])
    if len(row) >= width and not extra:
        return
    comma = ": where numbers have a decimal comma, put ; between the columns" if mark == "," else ""
    raise WetlineError(
        f"{path}: row {number} has {len(row)} columns where the header has {width}: mend it"
        f"{comma if extra else ''}"
    )


def number_column(path: Path, table: Mapping[str, list[str]], name: str) -> NDArray[np.float64]:
    """Return one column as numbers; a decimal comma is understood.

    Raises
    ------
    WetlineError
        If the column is missing or a value is not a finite number (with its row).
    """
    if name not in table:
        near = did_you_mean(name, table)
        raise bad_field(path, f"column {name}", "(missing)", f"add it to the header row{near}")
    lines = table.lines if isinstance(table, CsvTable) else range(2, 2 + len(table[name]))
    values = []
    for number, text in zip(lines, table[name], strict=True):
        try:
            values.append(plain_number(text))
        except ValueError as error:
            rule = str(error) if text.strip() and "may be" in str(error) else "must be a number"
            raise bad_field(path, f"row {number}, {name}", text or "(empty)", rule) from None
    return np.array(values)


def clock_text_s(text: str) -> float:
    """Return a clock time such as ``14:03:20`` or ``14:03`` in seconds of the day.

    Raises
    ------
    ValueError
        With the rule, if it is none.

    Examples
    --------
    >>> clock_text_s("14:03:20")
    50600.0
    """
    for form in ("%H:%M:%S", "%H:%M", "%H:%M:%S.%f"):
        try:
            at = datetime.strptime(text.strip(), form)
        except ValueError:
            continue
        return at.hour * 3600.0 + at.minute * 60.0 + at.second + at.microsecond / 1e6
    raise ValueError("must be a time of day such as 14:03:20")
