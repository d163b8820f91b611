"""What tracking leaves under results/: front.csv, arrival.npz and its part of results.json."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from vision.common.atomic_files import read_json, remove_file, replace_file, write_json
from vision.common.outside.stored_results import checked_fields, finite, read_arrays
from vision.errors import WetlineError
from vision.front.front_csv import (
    read_front_csv,
    read_second_front_csv,
    write_front_csv,
    write_second_front,
)
from vision.records import (
    ArrivalMap,
    DrySpot,
    FloatArray,
    FrontDoubt,
    FrontSummary,
    ScaleSummary,
    Tracked,
)
from vision.settings.settings_stamp import settings_stamp

ARRIVAL_FILE = "arrival.npz"
UNEXPLAINED_FILE = "unexplained.png"
SECOND_FILE = "second_front.csv"
MOST_STORED = 1e12
"""No time in s, place in px or factor that tracking stores is greater."""
LEAST_MM_PER_PX = 1e-3
START_SD, FRONTS = "start_sd_s", ("front_time_s", "front_mm", "front_sd_mm")
LATER_PARTS = ("permeability", "fill", "gel", "verdict")


@dataclass(frozen=True)
class PlacedFrames:
    """The frames of a run with the panel's place in each, for drawing on them.

    Attributes
    ----------
    names : tuple of str
    clock_s : ndarray of shape (K,), float
        Frame times on the camera's clock.
    start_clock_s : float
        Resin start on it.
    homographies : ndarray of shape (K, 3, 3), float
        Panel mm to ideal pixels, frame by frame.
    """

    names: tuple[str, ...]
    clock_s: FloatArray
    start_clock_s: float
    homographies: FloatArray

    def homography(self, name: str) -> FloatArray | None:
        """Return where the panel lies in a frame, by the frame's name; None when not tracked."""
        if name not in self.names:
            return None
        return np.asarray(self.homographies[self.names.index(name)])


@dataclass(frozen=True)
class StoredRun:
    """An arrival map with what is needed to draw it on the photos."""

    arrival: ArrivalMap
    placed: PlacedFrames


def results_json(tracked: Tracked) -> dict[str, Any]:
    """Return the vision part of results.json; the later parts stand empty until the fit."""
    parts: dict[str, Any] = {"front": asdict(tracked.front), "scale": asdict(tracked.scale)}
    parts["frame_notes"] = list(tracked.frame_notes)
    parts["settings_stamp"] = tracked.settings_stamp
    return parts | dict.fromkeys(LATER_PARTS)


def save_tracked(results: Path, tracked: Tracked, placed: PlacedFrames | None = None) -> None:
    """Write what tracking found, each file whole or not at all.

    Parameters
    ----------
    results : Path
        The results folder.
    tracked : Tracked
    placed : PlacedFrames, optional
        The panel's place in each frame; None for pen marks.
    """
    # Gone until all is written: a stop in between must not leave parts of two runs side by side.
    remove_file(results / "results.json")
    if tracked.arrival is None or placed is None:
        remove_file(results / ARRIVAL_FILE)  # one of an earlier run would mislead
    else:
        arrays = {
            "time_s": tracked.arrival.time_s.astype(np.float32),
            "seen": tracked.arrival.seen,
            "by_hand": tracked.arrival.by_hand,
            "mm_per_px": np.float64(tracked.arrival.mm_per_px),
            "last_s": np.float64(tracked.arrival.last_s),
            "frames": np.array(placed.names),
            "clock_s": placed.clock_s,
            "start_clock_s": np.float64(placed.start_clock_s),
            "homographies": placed.homographies,
        }

        arrays |= _doubt_arrays(tracked.arrival.doubt)

        def write(part: Path) -> None:
            with part.open("wb") as file:
                np.savez(file, **arrays)  # type: ignore[arg-type]

        replace_file(results / ARRIVAL_FILE, write)
    write_front_csv(results / "front.csv", tracked.curve)
    if tracked.second is None:
        (results / SECOND_FILE).unlink(missing_ok=True)
    else:
        write_second_front(results / SECOND_FILE, tracked.second)
    write_json(results / "results.json", results_json(tracked))


def _doubt_arrays(doubt: FrontDoubt | None) -> dict[str, Any]:
    """Return how sure a map's fronts are as arrays; none where that is not known."""
    if doubt is None:
        return {}
    fronts = zip(FRONTS, (doubt.time_s, doubt.front_mm, doubt.sd_mm), strict=True)
    return {START_SD: np.float64(doubt.start_sd_s), **dict(fronts)}


def _doubt_of(arrays: dict[str, Any]) -> FrontDoubt | None:
    """Return it again; None where it was not stored.

    Raises
    ------
    KeyError, TypeError, ValueError
        If it is not what `save_tracked` writes.
    """
    if START_SD not in arrays:
        return None
    start_sd_s = finite(START_SD, float(arrays[START_SD]))
    time_s, front_mm, sd_mm = (arrays[name].astype(float) for name in FRONTS)
    if time_s.ndim != 1 or not time_s.shape == front_mm.shape == sd_mm.shape:
        raise ValueError("the fronts do not belong together")
    if not all((abs(values) < MOST_STORED).all() for values in (time_s, front_mm, sd_mm)):
        raise ValueError("a front is past all measure")
    if not 0 <= start_sd_s < MOST_STORED or (sd_mm < 0).any() or (np.diff(time_s) < 0).any():
        raise ValueError("an uncertainty is below 0, or the fronts are out of order")
    return FrontDoubt(start_sd_s, time_s, front_mm, sd_mm)


def load_run(results: Path) -> StoredRun:
    """Read arrival.npz back.

    Raises
    ------
    WetlineError
        If it is not there yet or not what Wetline writes.
    """
    path = results / ARRIVAL_FILE
    read_json(results / "results.json")
    try:
        return _stored_run(read_arrays(path))
    except FileNotFoundError as error:
        raise WetlineError(
            f"{path}: not there: pen-marked panels have no front lines to draw; else run "
            "`wetline track` first"
        ) from error
    except (OSError, ValueError, TypeError, KeyError) as error:
        raise WetlineError(f"{path}: cannot be read: run `wetline track` again") from error


def _stored_run(arrays: dict[str, Any]) -> StoredRun:
    """Build the run from its arrays.

    Raises
    ------
    KeyError, TypeError, ValueError
        If one is missing, or not of the shape and kind that `save_tracked` writes.
    """
    if any(arrays[name].dtype.kind not in "biuf" for name in arrays if name != "frames"):
        raise ValueError("what should be numbers is none")
    time_s = arrays["time_s"].astype(float)
    names = tuple(str(name) for name in arrays["frames"])
    clock_s = arrays["clock_s"].astype(float)
    homographies = arrays["homographies"].astype(float)
    for array, shape in (
        (arrays["seen"], time_s.shape),
        (arrays["by_hand"], time_s.shape),
        (clock_s, (len(names),)),
        (homographies, (len(names), 3, 3)),
    ):
        if array.shape != shape or not np.isfinite(array).all():
            raise ValueError("the arrays do not belong together")
    if time_s.ndim != 2 or time_s.size == 0 or np.isnan(time_s).any():
        raise ValueError("time_s is no map")
    numbers = {
        key: finite(key, float(arrays[key])) for key in ("mm_per_px", "last_s", "start_clock_s")
    }
    wet = time_s[np.isfinite(time_s)]
    for values in (wet, homographies, *numbers.values(), clock_s):
        if np.any(np.abs(values) > MOST_STORED):
            raise ValueError("a number is past all measure")
    if not LEAST_MM_PER_PX < numbers["mm_per_px"] < 1 / LEAST_MM_PER_PX:
        raise ValueError("mm_per_px is no scale")
    return StoredRun(
        arrival=ArrivalMap(
            time_s=time_s,
            seen=arrays["seen"].astype(bool),
            by_hand=arrays["by_hand"].astype(bool),
            mm_per_px=numbers["mm_per_px"],
            last_s=numbers["last_s"],
            doubt=_doubt_of(arrays),
        ),
        placed=PlacedFrames(names, clock_s, numbers["start_clock_s"], homographies),
    )


def read_tracked(folder: Path) -> Tracked:
    """Read back what tracking left in a panel folder.

    Parameters
    ----------
    folder : Path
        The panel folder.

    Returns
    -------
    tracked : Tracked
        Lengths as front.csv has them, to 0.001 mm. Its arrival map is None for pen marks.

    Raises
    ------
    WetlineError
        If the files are not there yet, are not what Wetline writes, or were tracked with other
        settings than panel.toml holds now.
    """
    results = Path(folder) / "results"
    document = read_json(results / "results.json")
    try:
        front, scale = _front(document["front"]), _scale(document["scale"])
        notes = tuple(str(note) for note in document.get("frame_notes") or ())
    except (KeyError, TypeError, ValueError) as error:
        raise WetlineError(
            f"{results / 'results.json'}: lacks what the tracker writes: run `wetline track` again"
        ) from error
    curve = read_front_csv(results / "front.csv")
    mapped = (results / ARRIVAL_FILE).exists()
    arrival = load_run(results).arrival if mapped else None
    stamp = str(document.get("settings_stamp") or "")
    if stamp and stamp != settings_stamp(Path(folder)):
        raise WetlineError(
            f"{Path(folder) / 'panel.toml'}: [panel], [frames], [scale], the marks or fix.csv have "
            "changed since the front was tracked: run `wetline run` again"
        )
    second = read_second_front_csv(results / SECOND_FILE)
    return Tracked(arrival, curve, front, scale, notes, stamp, second)


def _front(values: dict[str, Any]) -> FrontSummary:
    """Build the summary from JSON; keys added since are left out."""
    known = checked_fields(FrontSummary, values)
    known["dry_spots"] = tuple(
        DrySpot(**checked_fields(DrySpot, spot)) for spot in values["dry_spots"]
    )
    known["warnings"] = tuple(map(str, values.get("warnings", ())))
    known["doubts"] = tuple(map(str, values.get("doubts", ())))
    lanes = values.get("clean_lanes_mm", ())
    known["clean_lanes_mm"] = tuple((finite("lane", a), finite("lane", b)) for a, b in lanes)
    defaults: dict[str, Any] = {
        "usable": True,
        "reason": "",
        "resin_start_sd_s": 0.0,
        "stalled_at_s": None,
        "race_tracking_mm": 0.0,
    }
    return FrontSummary(**(defaults | known))


def _scale(values: dict[str, Any]) -> ScaleSummary:
    if not isinstance(values, dict):
        raise TypeError("scale is no table")
    # Pen marks have no pixels, and JSON has no NaN.
    pixels = {} if values.get("mm_per_px") is not None else {"mm_per_px": float("nan")}
    stated = {key: value for key, value in values.items() if key not in pixels}
    known: dict[str, Any] = pixels | checked_fields(ScaleSummary, stated)
    defaults = {"relative_sd": 0.003, "length_mm": 0.0, "width_mm": 0.0}
    return ScaleSummary(**(defaults | known))
