"""Checked reading of TOML tables, with the units a shop writes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from vision.common.outside.toml_file import read_toml as read_toml
from vision.common.quantity import (
    LENGTH_MM,
    PERCENT,
    PLAIN,
    Quantity,
    other_units,
    read_quantity,
    shown,
)
from vision.errors import WetlineError, bad_field, clipped, did_you_mean

CONFIRMED = "confirmed"
"""Field of any table that lists the unusual values in it that are true all the same."""


def length_mm(value: object) -> float | None:
    """Return a length given as a number of mm or as text such as ``"40 in"``, None if it is none.

    Examples
    --------
    >>> length_mm("40 in"), length_mm(12), length_mm("1.2 m"), length_mm("wide")
    (1016.0, 12.0, 1200.0, None)
    """
    try:
        return read_quantity(value, LENGTH_MM)
    except ValueError:
        return None


def refuse_unknown_tables(
    file: Path, document: Mapping[str, Any], fields: Mapping[str, Sequence[str]]
) -> None:
    """Refuse a table nobody reads, and a field that stands above the first table.

    Parameters
    ----------
    file : Path
        For messages.
    document : mapping
        The whole TOML document.
    fields : mapping of str to sequence of str
        The fields of each known table.

    Raises
    ------
    WetlineError
        With the nearest known name, or the table the field belongs to.
    """
    for name, content in document.items():
        if name in fields:
            continue
        if isinstance(content, Mapping | list):
            near = did_you_mean(name, fields)
            known = f"; known are {', '.join(fields)}"
            raise bad_field(file, f"[{name}]", "a table", f"is not a known table{near or known}")
        homes = [table for table, known in fields.items() if name in known]
        rule = "stands in no table: " + (
            f"put it under [{homes[0]}]" if homes else "put it under the table it belongs to"
        )
        raise bad_field(file, name, content, rule)


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

    Attributes
    ----------
    understood : list of str
        How values written with a unit were understood.
    questions : list of str
        Values that are possible but not likely, with the mend.
    confirmed : list of str
        Unusual values that the user has confirmed.
    """

    def __init__(self, file: Path, name: str, values: object) -> None:
        if not isinstance(values, Mapping):
            raise bad_field(file, name, values, f"must be a table: write a line [{name}] above it")
        self.file, self.name, self.values = file, name, dict(values)
        self.understood: list[str] = []
        self.questions: list[str] = []
        self.confirmed: list[str] = []

    @classmethod
    def of(cls, file: Path, document: Mapping[str, Any], name: str) -> Table:
        """Take table `name` of a document; empty when missing."""
        return cls(file, name, document.get(name, {}))

    def label(self, key: str) -> str:
        """Return the field's name as the user sees it."""
        return f"[{self.name}] {key}"

    def bad(self, key: str, rule: str) -> WetlineError:
        """Return the error for a field of this table."""
        return bad_field(self.file, self.label(key), self.values.get(key, "(missing)"), rule)

    def has(self, key: str) -> bool:
        """Return whether the field is there."""
        return key in self.values

    def refuse_unknown(
        self, known: Sequence[str], elsewhere: Mapping[str, Sequence[str]] | None = None
    ) -> None:
        """Refuse a field nobody reads, which is most often a spelling slip.

        Parameters
        ----------
        known : sequence of str
            The fields of this table; `confirmed` goes with every table.
        elsewhere : mapping of str to sequence of str, optional
            The fields of the other tables, to say where a field belongs.

        Raises
        ------
        WetlineError
            Naming the nearest known field, or the table the field belongs to.
        """
        for key in self.values:
            if key in known or key == CONFIRMED:
                continue
            homes = [name for name, fields in (elsewhere or {}).items() if key in fields]
            if homes:
                raise self.bad(key, f"belongs under [{homes[0]}]: move it there")
            near = did_you_mean(key, (*known, CONFIRMED))
            listed = f"; known are {', '.join(sorted(known))}"
            raise self.bad(key, f"is not a known field{near or listed}")
        for key in self.confirmed_names():
            if key not in known:
                near = did_you_mean(key, known)
                raise self.bad(CONFIRMED, f"{key} is no field of [{self.name}]{near}")

    def confirmed_names(self) -> list[str]:
        """Return the fields whose unusual values the user has confirmed."""
        value = self.values.get(CONFIRMED, [])
        names = [value] if isinstance(value, str) else value
        if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
            raise self.bad(CONFIRMED, 'must list the fields meant, such as ["viscosity_mpas"]')
        return names

    def question(self, key: str, why: str) -> None:
        """Note that a value is possible but not likely, unless the user has confirmed it.

        Parameters
        ----------
        key : str
            The field.
        why : str
            What was understood and what to write if something else is meant.
        """
        value = clipped(self.values.get(key, "(missing)"))
        if key in self.confirmed_names():
            self.confirmed.append(f"{self.label(key)} = {value}: unusual, confirmed by the user")
            return
        self.questions.append(
            f'{self.label(key)} = {value}: {why}; if it is true, write confirmed = ["{key}"] '
            f"under [{self.name}]"
        )

    def refuse_questions(self) -> None:
        """Refuse the first value in question, where nothing can be done without an answer.

        Raises
        ------
        WetlineError
            With the question and how to confirm the value.
        """
        if self.questions:
            raise WetlineError(f"{'/'.join(self.file.parts[-2:])}: {self.questions[0]}")

    def quantity(
        self,
        key: str,
        kind: Quantity,
        default: float | None = None,
        *,
        above: float = -math.inf,
        at_least: float = -math.inf,
        at_most: float = math.inf,
        likely: tuple[float, float] | None = None,
    ) -> float | None:
        """Read a value that may carry a unit in quotes, or return `default` when missing.

        Parameters
        ----------
        key : str
            The field.
        kind : Quantity
            What it is; bounds are in its unit.
        default : float, optional
            When the field is missing.
        above, at_least, at_most : float
            What is possible; the rest is refused.
        likely : (float, float), optional
            What is usual; the rest is questioned.

        Raises
        ------
        WetlineError
            If it is no such quantity or out of bounds.
        """
        if key not in self.values:
            return default
        written = self.values[key]
        try:
            value = read_quantity(written, kind)
        except ValueError as error:
            raise self.bad(key, str(error)) from None
        if isinstance(written, str):
            self.understood.append(f'{self.label(key)} = "{written}": {shown(value, kind)}')
        hint = "" if isinstance(written, str) else _meant(value, kind, likely)
        self._bounded(key, value, above, at_least, at_most, hint)
        if likely is not None and not likely[0] <= value <= likely[1]:
            usual = f"{shown(likely[0], kind)} to {shown(likely[1], kind)} is usual"
            self.question(key, f"understood as {shown(value, kind)}; {usual}{hint}")
        return value

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
        """Read a plain number within bounds, or return `default` when missing."""
        value = self.values.get(key)
        if key in self.values and (isinstance(value, bool) or not isinstance(value, int | float)):
            try:
                read_quantity(value, PLAIN)
            except ValueError:
                of = f" of {unit}" if unit else ""
                raise self.bad(key, f"must be a number{of}, without quotes") from None
        return self.quantity(key, PLAIN, default, above=above, at_least=at_least, at_most=at_most)

    def length(
        self,
        key: str,
        default: float | None = None,
        *,
        above: float = -math.inf,
        at_least: float = -math.inf,
        at_most: float = math.inf,
        likely: tuple[float, float] | None = None,
    ) -> float | None:
        """Read a length in mm; text such as ``"40 in"`` is understood too."""
        return self.quantity(
            key, LENGTH_MM, default, above=above, at_least=at_least, at_most=at_most, likely=likely
        )

    def _bounded(
        self, key: str, value: float, above: float, at_least: float, at_most: float, hint: str
    ) -> None:
        if not value > above:
            raise self.bad(key, f"must be above {above:g}{hint}")
        if value < at_least:
            raise self.bad(key, f"must be at least {at_least:g}{hint}")
        if value > at_most:
            raise self.bad(key, f"must be at most {at_most:g}{hint}")

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
            near = did_you_mean(value, choices)
            raise self.bad(key, f"must be one of {', '.join(choices)}{near}")
        return value

    def points(self, key: str, count: int | None = None) -> list[tuple[float, float]] | None:
        """Read a list of [x, y] pairs, exactly `count` of them when given."""
        if key not in self.values:
            return None
        value = self.values[key]
        rule = f"must be a list of {count or 'some'} pairs such as [[10, 20], [30, 40]]"
        if not isinstance(value, list) or (count is not None and len(value) != count):
            raise self.bad(key, rule)
        pairs = [_pair(item, key) for item in value]
        if any(pair is None for pair in pairs):
            raise self.bad(key, rule)
        return [pair for pair in pairs if pair is not None]

    def pair(self, key: str) -> tuple[float, float] | None:
        """Read one [x, y] pair."""
        if key not in self.values:
            return None
        pair = _pair(self.values[key], key)
        if pair is None:
            raise self.bad(key, "must be a pair such as [180, 140]")
        return pair


def _pair(item: object, key: str) -> tuple[float, float] | None:
    """Return an [x, y] pair, whose lengths may carry units; None if it is none."""
    kind = LENGTH_MM if key.endswith("_mm") else PLAIN
    if not isinstance(item, list) or len(item) != 2:
        return None
    try:
        return read_quantity(item[0], kind), read_quantity(item[1], kind)
    except ValueError:
        return None


def _meant(value: float, kind: Quantity, likely: tuple[float, float] | None) -> str:
    """Return what a bare number may have been meant as, in other units."""
    if kind is PERCENT and 0 < value <= 1:
        return f"; write {100 * value:g} if {100 * value:g} % is meant"
    others = [] if likely is None else other_units(value, kind, likely)[:3]
    ways = " or ".join(f'"{text}"' for text in others)
    return f"; write {ways} if that is meant" if ways else ""
