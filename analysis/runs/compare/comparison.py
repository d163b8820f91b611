"""Panels side by side: set-ups, real differences, what was not alike, and the ranking."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from analysis.forecast.panel_answer import FAR_REACH
from analysis.runs.compare.differences import (
    SCATTER,
    Difference,
    Estimate,
    differences,
    own_scatter,
    range_quantile,
)
from analysis.runs.compare.ranking import Ranking, rank
from analysis.runs.compare.setups import Setup, common_length_m, group, panel_numbers
from analysis.runs.panels.conditions import Unlike, unlike_conditions
from analysis.runs.panels.facts import PanelFacts, read_facts
from analysis.runs.panels.same_run import refuse_one_run_twice
from vision.errors import WetlineError

QUANTITIES = {
    "k": "Permeability",
    "time_alike": "Fill time with like resin and vacuum",
    "time": "Fill time as run",
    "margin": "Margin",
}
OWN_FREEDOM = 3
"""From so many degrees of freedom on the scatter of repeated panels is believed where it is more
than the usual one."""


@dataclass(frozen=True)
class Comparison:
    """What the panels say beside each other.

    Attributes
    ----------
    setups : tuple of Setup
    length_m : float
        The flow length at which times and margins are compared.
    scatter : float
        Relative sd between like panels that counts as noise.
    scatter_own : bool
        Whether it is that of the user's own repeats.
    differences : dict of str to tuple of Difference
        For each of `QUANTITIES`, every pair of set-ups that know it.
    unlike : tuple of Unlike
    ranking : Ranking
    notes : tuple of str
    """

    setups: tuple[Setup, ...]
    length_m: float
    scatter: float
    scatter_own: bool
    differences: dict[str, tuple[Difference, ...]]
    unlike: tuple[Unlike, ...]
    ranking: Ranking
    notes: tuple[str, ...]

    @property
    def panels(self) -> dict[str, PanelFacts]:
        """All panels by label."""
        return labelled(self.setups)


def compare_folders(
    folders: Sequence[Path],
    wish: str = "margin",
    length_m: float | None = None,
    scatter: float | None = None,
) -> Comparison:
    """Compare panels by their folders.

    Parameters
    ----------
    folders : sequence of Path
        Two or more panels that were tracked.
    wish, length_m, scatter
        As for `compare_panels`.

    Raises
    ------
    WetlineError
        If there are fewer than two, one comes twice, two hold the same photos or marks, or one
        cannot be read.
    """
    if len(folders) < 2:
        raise WetlineError("compare: name the folders of two panels or more")
    seen: dict[Path, Path] = {}
    for folder in folders:
        place = folder.resolve()
        if place in seen:
            raise WetlineError(f"{folder}: named twice: leave one out")
        seen[place] = folder
    panels = [read_facts(folder) for folder in folders]
    refuse_one_run_twice(panels)
    return compare_panels(panels, wish, length_m, scatter)


def compare_panels(
    panels: Sequence[PanelFacts],
    wish: str = "margin",
    length_m: float | None = None,
    scatter: float | None = None,
) -> Comparison:
    """Compare panels.

    Parameters
    ----------
    panels : sequence of PanelFacts
    wish : {"margin", "surface", "resin"}
        What to rank by.
    length_m : float, optional
        Flow length to compare at; the longest that a panel states if left out.
    scatter : float, optional
        Relative sd of permeability between like panels of this shop; that of one laboratory, or of
        the repeats among these panels where it is more, if left out.

    Returns
    -------
    Comparison
    """
    length = common_length_m(panels, length_m)
    numbers = [panel_numbers(panel, panels[0], length) for panel in panels]
    first = group(panels, numbers, SCATTER if scatter is None else scatter)
    own, freedom = own_scatter([setup.estimates("k") for setup in first])
    counts = SCATTER if scatter is None else scatter
    use_own = scatter is None and freedom >= OWN_FREEDOM and own > SCATTER
    if use_own:
        counts = own
    setups = group(panels, numbers, counts)
    return Comparison(
        setups=setups,
        length_m=length,
        scatter=counts,
        scatter_own=use_own,
        differences={name: _pairs(setups, name) for name in QUANTITIES},
        unlike=tuple(unlike_conditions(labelled(setups))),
        ranking=rank(setups, wish),
        notes=(*_notes(setups, counts), *_far(setups, length)),
    )


def labelled(setups: Sequence[Setup]) -> dict[str, PanelFacts]:
    """Return all panels by label."""
    return {
        label: panel
        for setup in setups
        for label, panel in zip(setup.labels(), setup.panels, strict=True)
    }


def _pairs(setups: Sequence[Setup], quantity: str) -> tuple[Difference, ...]:
    means = {s.letter: mean for s in setups if (mean := s.mean(quantity)) is not None}
    return tuple(differences(means))


def _notes(setups: Sequence[Setup], scatter: float) -> list[str]:
    out = []
    for setup in setups:
        told = setup.estimates("k")
        if len(told) > 1 and not _agree(told, scatter):
            values = [one.value for one in told]
            out.append(
                f"{setup.letter}: its like panels differ by {max(values) / min(values):.2f} times "
                "in K, more than like panels usually do: look for what was not alike"
            )
        lost = len(setup.panels) - len(setup.fair)
        if setup.fair and lost:
            what = "panel was" if lost == 1 else "panels were"
            out.append(f"{setup.letter}: {lost} {what} left out of its mean (see below)")
    return out


def _far(setups: Sequence[Setup], length_m: float) -> list[str]:
    """Write which panels were measured much less far than they are compared at."""
    out = []
    for label, panel in labelled(setups).items():
        reached = panel.answer.front.length_reached_mm / 1000.0
        if not panel.left_out and reached > 0 and length_m / reached > FAR_REACH:
            out.append(
                f"{label}: {length_m * 1000:.0f} mm is {length_m / reached:.1f} times as far as "
                "its front was measured, so its time and margin are less sure than they look; "
                "--length-mm compares nearer"
            )
    return out


def _agree(told: Sequence[Estimate], scatter: float) -> bool:
    """Return whether like panels lie within their scatter and measurement."""
    values = [one.value for one in told]
    spread = math.log(max(values) / min(values))
    sd = (scatter**2 + sum(one.sd**2 for one in told) / len(told)) ** 0.5
    return spread < range_quantile(len(told)) * sd
