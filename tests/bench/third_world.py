"""Hunts for wrong readings without a word in the third world of made-up runs.

Run by hand: ``python tests/bench/third_world.py [--only NAME ...] [--seeds N] [--keep FOLDER]``.
Sheets that drink are filmed (H.264 and MPEG-4 of few bits, the `video` extra), panels are
photographed; each is tracked as `wetline run` tracks it and held against its exact front. A run is
silently wrong by the rule of tests/bench/hunt.py, or where a front is said to have stalled that has
not. Prints a line per run and the sums.
"""

import argparse
import json
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

import cv2
import numpy as np

from tests.bench.hunt import EDGE_MM, LEAST_MM, SDS
from tests.made_up.third_world.folder import SPEED_UP, write
from tests.made_up.third_world.odd_panels import ODD_PANELS
from tests.made_up.third_world.panels import PANELS
from tests.made_up.third_world.sheets import SHEETS
from vision.errors import WetlineError
from vision.records import FrontCurve
from vision.tracking.job import track_unsaved

STALLS = ("stops_for_good",)
"""Runs whose front does stall."""

MAKERS = {**SHEETS, **PANELS, **ODD_PANELS}


@dataclass(frozen=True)
class Outcome:
    """What came of one run; `said` is its refusal or its doubts."""

    name: str
    said: str = ""
    rows: int = 0
    used: int = 0
    rms_mm: float = float("nan")
    worst_mm: float = 0.0
    worst_sd: float = 0.0
    edge_mm: float = 0.0
    bad: int = 0
    wrong_stall: bool = False
    dry_spots: int = 0

    @property
    def kind(self) -> str:
        """Whether it kept the limits, was refused or marked, or is silently wrong."""
        if self.said:
            return "told"
        if self.bad or self.wrong_stall or self.dry_spots or self.edge_mm > EDGE_MM:
            return "SILENTLY WRONG"
        return "kept"


def put_through(job: tuple[str, int | None, Path]) -> Outcome:
    """Make one run, track it, and compare."""
    name, seed, parent = job
    cv2.setNumThreads(1)
    codec = ("h264", "mpeg4")[sum(map(ord, name)) % 2] if name in SHEETS else ""
    title = name if seed is None else f"{name}_{seed}"
    folder = parent / title
    if not (folder / "truth.json").is_file():
        write(folder, name, MAKERS[name]() if seed is None else MAKERS[name](seed), codec)
    try:
        tracked = track_unsaved(folder, True).tracked
    except WetlineError as error:
        return Outcome(title, str(error))
    front, curve = tracked.front, tracked.curve
    if not front.usable:
        return Outcome(title, front.reason, len(curve.frames))
    rows = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["rows"]
    true = _truth(curve, rows)
    use = curve.used
    error = (curve.front_mean_mm - true["mean"])[use]
    sd = curve.front_sd_mm[use]
    edges = np.concatenate(
        [(curve.front_min_mm - true["min"])[use], (curve.front_max_mm - true["max"])[use]]
    )
    return Outcome(
        title,
        "; ".join(front.doubts) or ("" if use.any() else "no row is used"),
        len(curve.frames),
        int(use.sum()),
        float(np.sqrt(np.mean(error**2))) if len(error) else float("nan"),
        float(np.abs(error).max(initial=0.0)),
        float((np.abs(error) / sd).max(initial=0.0)),
        float(np.nanmax(np.abs(edges), initial=0.0)),
        int(np.sum(np.abs(error) > np.maximum(LEAST_MM, SDS * sd))),
        front.stalled_at_mm is not None and name not in STALLS,
        len(front.dry_spots),
    )


def _truth(curve: FrontCurve, rows: list[dict[str, float]]) -> dict[str, np.ndarray]:
    """Return the true front of each row's own picture."""
    clock = np.array([row["clock_s"] for row in rows])
    if "@" in curve.frames[0]:
        shown = [float(n.rpartition("@")[2].rstrip("s")) * SPEED_UP for n in curve.frames]
        at = [int(np.argmin(np.abs(clock - s))) for s in shown]
    else:
        at = [int(name.rpartition("_")[2].split(".")[0]) for name in curve.frames]
    return {key: np.array([rows[k][key] for k in at]) for key in ("mean", "min", "max")}


def main() -> None:
    """Hunt, and print what was found."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--only", nargs="*", help="names of the runs")
    parser.add_argument("--seeds", type=int, default=0, help="further draws of each")
    parser.add_argument("--keep", type=Path, help="folder for the runs, made once")
    options = parser.parse_args()
    names = options.only or list(MAKERS)
    seeds: list[int | None] = [None, *range(101, 101 + options.seeds)]
    with tempfile.TemporaryDirectory() as place, ProcessPoolExecutor(2) as pool:
        parent = options.keep or Path(place)
        jobs = [(name, seed, parent) for seed in seeds for name in names]
        found = []
        for r in pool.map(put_through, jobs):
            found.append(r)
            print(
                f"{r.name:24} {r.kind:14} used {r.used:3}/{r.rows:3} rms {r.rms_mm:5.2f} worst "
                f"{r.worst_mm:5.2f} mm, {r.worst_sd:4.1f} sd, edge {r.edge_mm:5.1f} "
                f"{'wrong stall ' if r.wrong_stall else ''}[{r.said[:80]}]",
                flush=True,
            )
    for kind in ("kept", "told", "SILENTLY WRONG"):
        print(f"{kind}: {sum(r.kind == kind for r in found)} of {len(found)}")


if __name__ == "__main__":
    main()
