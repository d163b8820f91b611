"""Options that are measured values: with units, within bounds, never nan or infinite."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import click

from vision.common.quantity import Quantity, other_units, read_quantity


class Measure(click.ParamType):
    """A value of one kind, such as ``950`` or ``"0.95 bar"`` for a pressure.

    Parameters
    ----------
    kind : Quantity
        Bounds are in its unit.
    above, at_least, at_most : float
        What is possible.
    likely : (float, float), optional
        What is usual: where a number is refused, the units that would bring it inside are named.
    """

    name = "measure"

    def __init__(
        self,
        kind: Quantity,
        *,
        above: float = -math.inf,
        at_least: float = -math.inf,
        at_most: float = math.inf,
        likely: tuple[float, float] | None = None,
    ) -> None:
        self.kind, self.likely = kind, likely
        self.above, self.at_least, self.at_most = above, at_least, at_most

    def get_metavar(self, param: click.Parameter, ctx: click.Context | None = None) -> str:
        """Return the unit of a bare number, for the help."""
        return self.kind.unit.upper().replace(" ", "") or "NUMBER"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the value; a fault is wrong usage.

        Raises
        ------
        click.BadParameter
            If it is no such quantity, out of bounds, or most likely in another unit.
        """
        try:
            number = read_quantity(_bare(value), self.kind)
        except ValueError as error:
            self.fail(f"{value}: {error}", param, ctx)
        bare = not isinstance(_bare(value), str)
        others = other_units(number, self.kind, self.likely) if self.likely and bare else []
        ways = " or ".join(f'"{text}"' for text in others[:3])
        hint = f"; write {ways} if that is meant" if ways else ""
        if not number > self.above:
            self.fail(f"{value}: must be above {self.above:g}{hint}", param, ctx)
        if not self.at_least <= number <= self.at_most:
            bounds = [f"at least {self.at_least:g}"] * (number < self.at_least)
            bounds += [f"at most {self.at_most:g}"] * (number > self.at_most)
            self.fail(f"{value}: must be {bounds[0]}{hint}", param, ctx)
        return number


def _bare(value: Any) -> Any:
    """Return text that is a plain number as that number."""
    try:
        return float(value)
    except (TypeError, ValueError):
        return value


class PanelFolder(click.Path):
    """A panel folder; a photo or film in its place is told what to do with it."""

    name = "folder"

    def __init__(self) -> None:
        super().__init__(path_type=Path, file_okay=False)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the path; refuse a file."""
        if Path(value).is_file():
            self.fail(
                f"{value} is a file, and a run is a folder: make one with `wetline new FOLDER`, "
                "put the photos into FOLDER/frames or the film into FOLDER, and name the folder",
                param,
                ctx,
            )
        return super().convert(value, param, ctx)


class RunFolder(PanelFolder):
    """A panel folder, a part's folder, or the part.toml itself."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the path; refuse a file that is no part.toml."""
        path = Path(value)
        if path.is_file() and path.suffix == ".toml" and path.name != "panel.toml":
            return path
        return super().convert(value, param, ctx)
