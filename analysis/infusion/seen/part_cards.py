"""The four scale cards of a part: where they go around its outline, and their printed sheet.

Tested in tests/analysis/commands/test_camera.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.part.plan.outline_table import Shape, read_outline
from vision.common.toml_table import read_toml
from vision.scale.scale_sheet import SheetPart, write_sheet
from vision.scale.sheet_lines import (
    PAPERS,
    PART_PER_CARD,
    SheetFacts,
    card_places,
    centres_line,
    places_around,
    read_sheet_facts,
)
from vision.settings.scale_settings import Points

SMALL_CARDS = (
    "The cards are small beside this part: print them on larger paper (--paper A3), or enlarged "
    "with marker_mm as you measure it, and take photos at the camera's full size."
)


@dataclass(frozen=True)
class PartCards:
    """The cards of one part.

    Attributes
    ----------
    file : Path
        Its part.toml.
    shape : Shape
    facts : SheetFacts
        What part.toml says of them already.
    marker_mm : float
        Edge of the black squares on this paper.
    centres_mm : tuple of 4 (x, y)
        In the plan's coordinates: upper left, upper right, lower right, lower left from above.
    """

    file: Path
    shape: Shape
    facts: SheetFacts
    marker_mm: float
    centres_mm: Points

    @property
    def small(self) -> bool:
        """Whether the cards are small beside the part."""
        return float(np.ptp(self.shape.outline_mm, axis=0).max()) > PART_PER_CARD * self.marker_mm

    @property
    def lines(self) -> list[str]:
        """The lines of part.toml, under `[scale]`."""
        return [
            'method = "sheet"',
            f"marker_mm = {self.marker_mm:g}",
            centres_line(self.centres_mm),
        ]


def read_cards(path: Path, paper: str, clear_mm: float) -> PartCards:
    """Find where a part's cards go: as part.toml states them, else around its outline.

    Parameters
    ----------
    path : Path
        A part.toml, or the folder it lies in; only its outline need be written.
    paper : str
    clear_mm : float
        From the outline's box to the black squares.

    Raises
    ------
    WetlineError
        If the outline cannot be read, or part.toml states another size of marker.
    """
    file = path / "part.toml" if path.is_dir() else path
    shape = read_outline(file, read_toml(file))
    facts, marker_mm = read_sheet_facts(file), PAPERS[paper].marker_mm
    centres = card_places(facts, marker_mm, file.name)
    if centres is None:
        centres = places_around(shape.outline_mm, shape.y_runs, marker_mm, clear_mm)
    return PartCards(file, shape, facts, marker_mm, centres)


def write_part_sheet(output: Path, paper: str, cards: PartCards) -> None:
    """Write a part's scale sheet as a true-scale PDF."""
    ring = cards.shape.outline_mm
    if cards.shape.y_runs == "up":
        ring = ring * np.array([1.0, -1.0])
    part = SheetPart(ring - ring.min(axis=0), cards.shape.y_runs)
    write_sheet(output, paper, cards.centres_mm, cards.facts.name, part)
