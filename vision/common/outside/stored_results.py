"""Reading back what Wetline wrote itself, which may have been edited or damaged since."""

from __future__ import annotations

import math
import zipfile
from collections.abc import Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.common.outside.input_files import check_file

MOST_ARRAY_BYTES = 1_000_000_000
"""Largest stored answer, unpacked: a part of 2000 cells on a side is a quarter of it."""


def read_arrays(path: Path) -> dict[str, NDArray[Any]]:
    """Return the arrays of an .npz file.

    Raises
    ------
    ValueError
        If it is no .npz that can be read whole, or unpacks to more than `MOST_ARRAY_BYTES`.
    WetlineError
        If it is no plain file.
    OSError
        If it is not there.
    """
    check_file(path, MOST_ARRAY_BYTES)
    try:
        with zipfile.ZipFile(path) as packed:
            unpacked = sum(entry.file_size for entry in packed.infolist())
        if unpacked > MOST_ARRAY_BYTES:
            raise ValueError(f"unpacks to {unpacked / 1e6:.0f} MB")
        with np.load(path, allow_pickle=False) as stored:
            return {name: np.asarray(stored[name]) for name in stored.files}
    except Exception as error:  # the reader raises whatever its own parsers raise
        raise ValueError(f"no stored arrays: {error}") from error


def checked_fields(record: type, values: object) -> dict[str, Any]:
    """Return the plain fields of a record from JSON, each of the kind the record states.

    Numbers, texts and yes-or-no values are looked at; fields of other kinds are handed on as
    they are, and keys the record does not know are left out.

    Parameters
    ----------
    record : type
        A dataclass.
    values : object
        What JSON held.

    Raises
    ------
    ValueError
        If a value is of another kind.

    Examples
    --------
    >>> from dataclasses import make_dataclass
    >>> spot = make_dataclass("Spot", [("x_mm", "float"), ("note", "str | None")])
    >>> checked_fields(spot, {"x_mm": 3, "note": None, "age": 2})
    {'x_mm': 3.0, 'note': None}
    >>> checked_fields(spot, {"x_mm": "far"})
    Traceback (most recent call last):
    ...
    ValueError: x_mm is no number
    """
    if not isinstance(values, Mapping):
        raise ValueError("is no table")
    known = {one.name: str(one.type) for one in fields(record)}
    return {
        name: _of_kind(name, value, known[name]) for name, value in values.items() if name in known
    }


def _of_kind(name: str, value: object, kind: str) -> object:
    """Return a value of a stated kind; JSON holds null for NaN, which only some may be."""
    plain = kind.removesuffix(" | None")
    if value is None and plain != kind:
        return None
    if plain == "float":
        return finite(name, value)
    if plain == "int":
        number = finite(name, value)
        if number != int(number) or number < 0:
            raise ValueError(f"{name} is no count")
        return int(number)
    wanted = {"bool": bool, "str": str}.get(plain)
    if wanted is not None and not isinstance(value, wanted):
        raise ValueError(f"{name} is no {'text' if wanted is str else 'yes or no'}")
    return value


def finite(name: str, value: object) -> float:
    """Return a finite number as a float.

    Raises
    ------
    ValueError
        If it is none.
    """
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"{name} is no number")
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise ValueError(f"{name} is no finite number")
    return number
