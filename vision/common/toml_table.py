"""Checked reading of TOML tables, with the units a shop writes."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from vision.errors import WetlineError, bad_field

LENGTH_UNITS_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, '"': 25.4, "ft": 304.8}
_NUMBER_AND_UNIT = re.compile(r"^\s*([-+]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?)\s*([a-zA-Z\"]*)\s*$")


def length_mm(value: object) -> float | None:
    """Read a length given as a number of mm or as text such as ``"40 in"``.

    Returns None when the value is not a length.

    Examples
    --------
    >>> length_mm("40 in"), length_mm(12), length_mm("1.2 m"), length_mm("wide")
    (1016.0, 12.0, 1200.0, None)
    """
    if isinstance(value, bool):
        return None
    if isinstance(value, int | float):
        return float(value)
    if not isinstance(value, str):
        return None
    match = _NUMBER_AND_UNIT.match(value)
    if match is None or match.group(2).lower() not in LENGTH_UNITS_MM | {"": 1.0}:
        return None
    factor = LENGTH_UNITS_MM.get(match.group(2).lower(), 1.0)
    return float(match.group(1).replace(",", ".")) * factor


def read_toml(path: Path) -> dict[str, Any]:
    """Read a TOML file.

    Raises
    ------
    WetlineError
        If it is missing, is not UTF-8 text, or breaks TOML's rules (with the line).
    """
    try:
        return tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except FileNotFoundError as error:
        raise WetlineError(f"{path}: not found: make one with `wetline new FOLDER`") from error
    except (OSError, UnicodeDecodeError) as error:
        raise WetlineError(f"{path}: cannot be read as text: save it as UTF-8") from error
    except tomllib.TOMLDecodeError as error:
        raise WetlineError(f"{path}: {error}: mend that line") from error


class Table:
    """One table of a TOML file, read field by field with one-line errors.

    Parameters
    ----------
    file : Path
        The file, for messages.
    name : str
        The table's name, e.g. ``"panel"``.
    values : mapping
        Its content.
    """

    def __init__(self, file: Path, name: str, values: object) -> None:
        if not isinstance(values, Mapping):
            raise bad_field(file, name, values, f"must be a table: write a line [{name}] above it")
        self.file, self.name, self.values = file, name, dict(values)

    @classmethod
    def of(cls, file: Path, document: Mapping[str, Any], name: str) -> Table:
        """Take table `name` of a document; empty when missing."""
        return cls(file, name, document.get(name, {}))

    def label(self, key: str) -> str:
        """Give the field's name as the user sees it."""
        return f"[{self.name}] {key}"

    def bad(self, key: str, rule: str) -> WetlineError:
        """Build the error for a field of this table."""
        return bad_field(self.file, self.label(key), self.values.get(key, "(missing)"), rule)

    def has(self, key: str) -> bool:
        """Tell whether the field is there."""
        return key in self.values

    def refuse_unknown(self, known: Sequence[str]) -> None:
        """Refuse a field nobody reads, which is most often a spelling slip."""
        for key in self.values:
            if key not in known:
                raise self.bad(key, f"is not a known field; known are {', '.join(sorted(known))}")

    def number(
        self,
        key: str,
        default: float | None = None,
        *,
        above: float = -math.inf,
        at_least: float = -math.inf,
        at_most: float = math.inf,
        unit: str = "",
    ) -> float | None:
        """Read a plain number within bounds, or give `default` when missing."""
        if key not in self.values:
            return default
        value = self.values[key]
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.bad(key, f"must be a number{f' of {unit}' if unit else ''}, without quotes")
        if not math.isfinite(value):
            raise self.bad(key, "must be a finite number")
        return self._bounded(key, float(value), above, at_least, at_most)

    def length(
        self,
        key: str,
        default: float | None = None,
        *,
        above: float = -math.inf,
        at_least: float = -math.inf,
        at_most: float = math.inf,
    ) -> float | None:
        """Read a length in mm; text such as ``"40 in"`` is understood too."""
        if key not in self.values:
            return default
        value = length_mm(self.values[key])
        if value is None or not math.isfinite(value):
            raise self.bad(key, 'must be a length in mm, such as 400 or "40 in"')
        return self._bounded(key, value, above, at_least, at_most)

    def _bounded(
        self, key: str, value: float, above: float, at_least: float, at_most: float
    ) -> float:
        if not value > above:
            raise self.bad(key, f"must be above {above:g}")
        if value < at_least:
            raise self.bad(key, f"must be at least {at_least:g}")
        if value > at_most:
            raise self.bad(key, f"must be at most {at_most:g}")
        return value

    def text(
        self, key: str, default: str | None = None, *, choices: Sequence[str] = ()
    ) -> str | None:
        """Read a text, one of `choices` if those are given."""
        if key not in self.values:
            return default
        value = self.values[key]
        if not isinstance(value, str):
            raise self.bad(key, "must be text in quotes")
        if choices and value not in choices:
            raise self.bad(key, f"must be one of {', '.join(choices)}")
        return value

    def points(self, key: str, count: int | None = None) -> list[tuple[float, float]] | None:
        """Read a list of [x, y] pairs, exactly `count` of them when given."""
        if key not in self.values:
            return None
        value = self.values[key]
        rule = f"must be a list of {count or 'some'} pairs such as [[10, 20], [30, 40]]"
        if not isinstance(value, list) or (count is not None and len(value) != count):
            raise self.bad(key, rule)
        pairs: list[tuple[float, float]] = []
        for item in value:
            if not (isinstance(item, list) and len(item) == 2 and all(map(_is_number, item))):
                raise self.bad(key, rule)
            pairs.append((float(item[0]), float(item[1])))
        return pairs

    def pair(self, key: str) -> tuple[float, float] | None:
        """Read one [x, y] pair."""
        if key not in self.values:
            return None
        value = self.values[key]
        if not (isinstance(value, list) and len(value) == 2 and all(map(_is_number, value))):
            raise self.bad(key, "must be a pair such as [180, 140]")
        return float(value[0]), float(value[1])


def _is_number(value: object) -> bool:
    return not isinstance(value, bool) and isinstance(value, int | float) and math.isfinite(value)
