"""The panel from above as the page draws it to place marks on: its size and its front lines."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from analysis.page.stored.panels import inside, panel_size_mm
from vision.common.toml_table import read_toml
from vision.drawing.front_lines import choose_times_s, front_lines
from vision.errors import WetlineError
from vision.front.results import load_run
from vision.records import BoolArray, FloatArray

MOST_POINTS = 120
LINES = 6


def plan_lines(folder: Path) -> dict[str, Any]:
    """Return the panel's plan: x along the flow to the right, y across and down, in mm.

    Parameters
    ----------
    folder : Path
        Panel folder.

    Returns
    -------
    plan : dict
        `length_mm` and `width_mm`, None where nobody knows them yet, `flow`, and `lines`: label,
        points, whether it is a dry spot, and whether it was seen. Without a tracked run, no line.
    """
    length_mm, width_mm = panel_size_mm(folder)
    panel = read_toml(folder / "panel.toml").get("panel", {})
    flow = "point" if isinstance(panel, dict) and panel.get("flow") == "point" else "edge"
    lines: list[dict[str, Any]] = []
    if _has_run(folder):
        try:
            arrival = load_run(folder / "results").arrival
        except WetlineError:
            arrival = None
        if arrival is not None:
            length_mm, width_mm = length_mm or arrival.length_mm, width_mm or arrival.width_mm
            times = choose_times_s(arrival.last_s, LINES)
            named: set[str] = set()
            for line in front_lines(arrival, times, flow=flow):
                label = "" if line.label in named else line.label
                lines += stretches(line.points_mm, line.seen, label, line.dry)
                named.add(line.label)
    return {"length_mm": length_mm, "width_mm": width_mm, "flow": flow, "lines": lines}


def _has_run(folder: Path) -> bool:
    results = folder / "results"
    return inside(folder, "results") is not None and inside(results, "arrival.npz") is not None


def stretches(
    points_mm: FloatArray, seen: BoolArray, label: str, dry: bool = False
) -> list[dict[str, Any]]:
    """Cut a line where it goes from seen to hidden, and leave out points no screen can show.

    Parameters
    ----------
    points_mm : ndarray of shape (N, 2)
    seen : ndarray of shape (N,), bool
    label : str
        Written at the first stretch; empty for none.
    dry : bool
        Whether it goes round a dry spot.

    Returns
    -------
    stretches : list of dict
        `label`, `dry`, `seen`, `points`.
    """
    ends = np.flatnonzero(np.diff(seen.astype(int))) + 1
    found: list[dict[str, Any]] = []
    for part in np.split(np.arange(len(points_mm)), ends):
        reach = part if part[-1] + 1 >= len(points_mm) else np.append(part, part[-1] + 1)
        step = max(1, len(reach) // MOST_POINTS)
        kept = np.append(reach[:-1:step], reach[-1])
        found.append(
            {
                "label": "" if found else label,
                "dry": dry,
                "seen": bool(seen[part[0]]),
                "points": np.round(points_mm[kept], 1).tolist(),
            }
        )
    return found
