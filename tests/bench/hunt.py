"""Hunts for wrong readings without a word: runs with truth, with every trouble added in turn.

Run by hand: ``python tests/bench/hunt.py [FOLDER ...] [--only CONDITION ...] [--runs NAME ...]``,
each FOLDER holding panel folders with a truth.json; the samples come first. Prints a Markdown
table: per condition the runs, how many kept the limits, how many were refused or marked, and how
many were silently wrong, with the worst of those. A run is silently wrong where a row with used =
yes is off by more than three of its stated standard uncertainties, or 2 mm where that is more, in
the mean (for the leading and trailing edge: by more than `EDGE_MM`), or a dry spot is named where
none is, and no doubt is stated.
"""

import argparse
import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

import cv2
import numpy as np

from tests.bench.conditions import CONDITIONS, Photos
from tests.bench.runs import Run, runs
from vision.arrival.lanes import lane_fronts_px
from vision.arrival.line_doubt import line_sd_mm
from vision.arrival.rays import read_rays
from vision.errors import WetlineError
from vision.frames.reader import Frames
from vision.frames.source import open_frames
from vision.records import Frame, Tracked
from vision.rectify.rectifier import Rectifier
from vision.tracking.tracker import Tracker

LEAST_MM, SDS = 2.0, 3.0
EDGE_MM = 12.0
"""Three times the root mean square error that the leading and the trailing edge are to keep."""

NEAR_MM = 10.0
"""A dry spot this near to a true one is that one."""

MOST_FRAMES = 60

WIDE_MM = 1.2
"""Stated uncertainty of rows much of which was filled in."""

LINES_AT = (0.5, 1.0, 2.0, 3.0)
"""Photo intervals after resin start at which front lines are asked for."""


class Held(Frames):
    """Photos in memory."""

    def __init__(self, photos: Photos) -> None:
        self._photos = photos
        self.notes: list[str] = []
        self.names, self.clock_s = photos.names, photos.clock_s
        self.size = photos.images[0].shape[1::-1]
        self.has_clock = True

    def __iter__(self) -> Iterator[Frame]:
        return (self.read(i) for i in range(len(self)))

    def read(self, index: int) -> Frame:
        """Give one frame."""
        photos = self._photos
        return Frame(index, self.names[index], float(self.clock_s[index]), photos.images[index])


@dataclass(frozen=True)
class Result:
    """What came of one run under one condition."""

    run: str
    condition: str
    refused: str = ""
    doubts: tuple[str, ...] = ()
    worst_mm: float = 0.0
    worst_sd: float = 0.0
    edge_mm: float = 0.0
    rms_mm: float = float("nan")
    invented: int = 0
    z: tuple[float, ...] = ()
    start_z: float = float("nan")
    wide_z: tuple[float, ...] = ()
    line_z: tuple[float, ...] = ()

    @property
    def wrong(self) -> str:
        """What is wrong beyond what is stated; empty if nothing."""
        told = []
        if self.worst_mm > 0:
            told.append(f"mean {self.worst_mm:.1f} mm, {self.worst_sd:.0f} sd")
        if self.edge_mm > EDGE_MM:
            told.append(f"edge {self.edge_mm:.0f} mm")
        if self.invented:
            told.append(f"{self.invented} dry spots that are none")
        return "; ".join(told)


def load(run: Run) -> Photos:
    """Read a run's photos."""
    with open_frames(run.setup) as frames:
        step = max(1, len(frames) // MOST_FRAMES)
        held = [f for f in frames if f.index % step == 0]
    true = np.array([run.true_mm.get(f.name, np.nan) for f in held])
    return Photos(
        run.setup,
        tuple(f.name for f in held),
        np.array([f.clock_s for f in held]),
        [f.image for f in held],
        np.nan_to_num(true, nan=-1.0),
    )


def track(run: Run, photos: Photos, condition: str) -> Result:
    """Track changed photos and compare with the truth."""
    try:
        frames = Held(photos)
        tracker = Tracker(photos.setup, Rectifier(photos.setup, frames))
        for frame in frames:
            tracker.add(frame)
        tracked = tracker.finish().tracked
    except WetlineError as error:
        return Result(run.name, condition, refused=str(error))
    front, curve = tracked.front, tracked.curve
    if not front.usable:
        return Result(run.name, condition, refused=front.reason)
    use = curve.used & np.isin(curve.frames, list(run.true_mm))
    names = [name for name, used in zip(curve.frames, use, strict=True) if used]
    true = np.array([run.true_mm[n] for n in names])
    error = curve.front_mean_mm[use] - true
    sds = np.abs(error) / curve.front_sd_mm[use]
    bad = np.abs(error) > np.maximum(LEAST_MM, SDS * curve.front_sd_mm[use])
    least, most = (np.array([run.edges_mm[n][i] for n in names]) for i in (0, 1))
    edges = np.abs(
        np.concatenate([curve.front_min_mm[use] - least, curve.front_max_mm[use] - most])
    )
    return Result(
        run.name,
        condition,
        "",
        tuple(getattr(front, "doubts", ())),
        float(np.abs(error)[bad].max(initial=0.0)),
        float(sds[bad].max(initial=0.0)),
        float(np.nanmax(edges, initial=0.0)),
        float(np.sqrt(np.mean(error**2))) if len(error) else np.nan,
        sum(_is_invented((spot.x_mm, spot.y_mm), run.islands_mm) for spot in front.dry_spots),
        tuple((error / curve.front_sd_mm[use])[true > 0]),
        _start_z(run, tracked),
        tuple((error / curve.front_sd_mm[use])[(true > 0) & (curve.front_sd_mm[use] > WIDE_MM)]),
        _line_z(run, tracked),
    )


def _is_invented(spot_mm: tuple[float, float], islands_mm: tuple[tuple[float, float], ...]) -> bool:
    """Return whether no dry place of the run lies near a dry spot that is told."""
    return all(np.hypot(spot_mm[0] - x, spot_mm[1] - y) > NEAR_MM for x, y in islands_mm)


def _start_z(run: Run, tracked: Tracked) -> float:
    """Return the error of resin start over what is stated; NaN where it was given."""
    curve, sd = tracked.curve, tracked.front.resin_start_sd_s
    late = [
        run.time_s[name] - at
        for name, at in zip(curve.frames, curve.time_s, strict=True)
        if name in run.time_s
    ]
    return float(np.median(late)) / sd if sd and late else float("nan")


def _line_z(run: Run, tracked: Tracked) -> tuple[float, ...]:
    """Return the errors of front lines soon after resin start over what is stated."""
    arrival = tracked.arrival
    if arrival is None or arrival.doubt is None:
        return ()
    known = sorted((at, run.true_mm[name]) for name, at in run.time_s.items() if at > 0)
    times, fronts = np.array([(0.0, 0.0), *known]).T
    at = np.array(LINES_AT) * float(np.median(np.diff(np.sort(tracked.curve.time_s))))
    true = np.sqrt(np.interp(at, times, np.maximum.accumulate(fronts) ** 2))
    if tracked.curve.flow == "point":
        point = np.array(run.setup.feed_point_mm or (np.nan, np.nan)) / arrival.mm_per_px
        if not np.isfinite(point).all():
            return ()
        lanes_px = read_rays(arrival.time_s, at, (float(point[0]), float(point[1]))).radius_px
    else:
        lanes_px = lane_fronts_px(arrival.time_s, at)
    found = lanes_px.mean(axis=1) * arrival.mm_per_px
    return tuple((found - true) / line_sd_mm(arrival.doubt, at))


def hunt(run: Run, conditions: list[str]) -> list[Result]:
    """Put one run through all conditions."""
    cv2.setNumThreads(1)
    photos = load(run)
    found = []
    for name in conditions:
        try:
            found.append(track(run, CONDITIONS[name](photos), name))
        except (ValueError, IndexError, cv2.error, np.linalg.LinAlgError) as error:
            found.append(Result(run.name, name, worst_mm=999.0, worst_sd=999.0))
            print(f"{run.name}, {name}: fails: {error!r}", file=sys.stderr)
    return found


def table(results: list[Result], conditions: list[str]) -> Iterator[str]:
    """Write the table line by line."""
    yield "| condition | runs | kept the limits | refused or marked | silently wrong | worst |"
    yield "|---|---|---|---|---|---|"
    for name in conditions:
        here = [r for r in results if r.condition == name]
        told = [r for r in here if r.refused or r.doubts]
        wrong = [r for r in here if r not in told and r.wrong]
        worst = max(wrong, key=lambda r: max(r.worst_mm, r.edge_mm / 6), default=None)
        kept = len(here) - len(told) - len(wrong)
        text = f"{worst.run}: {worst.wrong}" if worst else ""
        yield f"| {name} | {len(here)} | {kept} | {len(told)} | {len(wrong)} | {text} |"


def main() -> None:
    """Hunt, and print what was found."""
    parser = argparse.ArgumentParser()
    parser.add_argument("folders", nargs="*")
    parser.add_argument("--only", nargs="*", help="conditions, by the beginning of their names")
    parser.add_argument("--runs", nargs="*", help="names of the runs to put through")
    parser.add_argument("--verbose", action="store_true", help="a line per run and condition")
    options = parser.parse_args()
    conditions = [
        name
        for name in CONDITIONS
        if not options.only or any(name.startswith(text) for text in options.only)
    ]
    chosen = [r for r in runs(options.folders) if not options.runs or r.name in options.runs]
    results: list[Result] = []
    with ProcessPoolExecutor(2) as pool:
        for found in pool.map(hunt, chosen, [conditions] * len(chosen)):
            results += found
            for r in found if options.verbose else ():
                said = f"refused: {r.refused[:70]}" if r.refused else "; ".join(r.doubts)[:90]
                print(
                    f"{r.run:14} {r.condition:24} rms {r.rms_mm:6.2f} edge {r.edge_mm:6.1f} "
                    f"start {r.start_z:5.1f} sd "
                    f"{'WRONG ' + r.wrong if r.wrong else ''} [{said}]",
                    flush=True,
                )
    print("\n".join(table(results, conditions)))
    undoubted = [r for r in results if not r.doubts]
    z = np.concatenate([r.z for r in undoubted] or [[0.0]])
    starts = np.array([r.start_z for r in undoubted])
    wide = np.concatenate([r.wide_z for r in undoubted] or [[0.0]])
    lines = np.concatenate([r.line_z for r in undoubted] or [[0.0]])
    rows = f"front in rows that state more than {WIDE_MM} mm"
    for what, values in (
        ("front", z),
        (rows, wide),
        ("resin start", starts[np.isfinite(starts)]),
        ("front lines soon after the start", lines),
    ):
        print(
            f"\nerror of {what} over stated uncertainty: spread {_rms(values):.2f}, "
            f"greatest {np.abs(values).max(initial=0):.1f}, {len(values)} values, "
            f"{np.mean(np.abs(values) <= 2):.1%} within 2"
        )


def _rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.square(values)))) if len(values) else 0.0


if __name__ == "__main__":
    main()
