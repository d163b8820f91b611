"""Two folders that hold one run: photos copied twice are not two panels."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.runs.panels.facts import PanelFacts
from vision.errors import WetlineError
from vision.records import FrontCurve

SAME_S, SAME_MM = 0.01, 0.01
"""Two runs are not timed alike, nor do their fronts agree, so closely in each row."""
FEWEST_ROWS = 6
"""Of fewer pen marks, read to a round number, two panels may well have the same."""


def same_run(a: FrontCurve, b: FrontCurve) -> bool:
    """Return whether two curves come from the same photos or marks, on the same scale.

    Parameters
    ----------
    a, b : FrontCurve

    Returns
    -------
    bool
        True where all rows lie the same times apart and have the same front. The start of the
        clock does not matter. The same photos on another scale are not found out.

    Notes
    -----
    Common practice, no source: two cloths never agree in every row.
    """
    count = len(a.time_s)
    if count != len(b.time_s) or count < FEWEST_ROWS:
        return False
    if np.max(np.abs(np.diff(a.time_s) - np.diff(b.time_s))) > SAME_S:
        return False
    same = np.isclose(a.front_mean_mm, b.front_mean_mm, rtol=0.0, atol=SAME_MM, equal_nan=True)
    return bool(np.all(same) and np.nanmax(a.front_mean_mm) > 0.0)


def refuse_one_run_twice(panels: Sequence[PanelFacts]) -> None:
    """Find out whether any two panels hold one run.

    Raises
    ------
    WetlineError
        Naming the two folders.
    """
    for i, one in enumerate(panels):
        for other in panels[:i]:
            if same_run(other.answer.tracked.curve, one.answer.tracked.curve):
                raise WetlineError(
                    f"{one.folder}: holds the same run as {other.folder} (times and front agree "
                    "throughout): a copy is no second panel: leave one out"
                )
