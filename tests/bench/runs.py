"""Panel folders with a known true front, for the benches: the samples, and any others given."""

import json
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from vision.frames.source import open_frames
from vision.records import Frame
from vision.rectify.rectifier import Rectifier
from vision.settings.panel_settings import PanelSetup, read_setup

ROOT = Path(__file__).parents[2]


@dataclass(frozen=True)
class Run:
    """One panel folder: its name, what it holds, and the true mean front by frame name."""

    name: str
    setup: PanelSetup
    true_mm: dict[str, float]
    edges_mm: dict[str, tuple[float, float]]
    """The trailing and the leading edge, by frame name."""
    time_s: dict[str, float]
    """Seconds since resin start, by frame name."""
    islands_mm: tuple[tuple[float, float], ...] = ()
    """Middles (x, y) of the places that stay dry for a while, or for good."""

    def error_mm(self, names: tuple[str, ...], front_mm: np.ndarray) -> np.ndarray:
        """Error of the mean front at every frame after resin start."""
        return np.array(
            [at - self.true_mm[name] for name, at in zip(names, front_mm, strict=True)
             if self.true_mm.get(name, -1.0) > 0]
        )  # fmt: skip


def runs(folders: list[str]) -> list[Run]:
    """Find panel folders with a truth.json beside panel.toml or in ``truth/``.

    Samples come first, then those in each of `folders`.
    """
    found = []
    for parent in [ROOT / "sample_frames", *map(Path, folders)]:
        for toml in sorted(parent.glob("*/panel.toml")):
            setup = read_setup(toml.parent)
            truth = [toml.parent / "truth.json", toml.parent / "truth" / "truth.json"]
            truth = [path for path in truth if path.is_file()]
            if setup.frames.kind == "marks" or not truth:
                continue
            content = json.loads(truth[0].read_text(encoding="utf-8"))
            front = {f["file"]: float(f["front_mean_mm"]) for f in content["frames"]}
            edges = {
                f["file"]: (float(f["front_min_mm"]), float(f["front_max_mm"]))
                for f in content["frames"]
            }
            times = {f["file"]: float(f["time_s"]) for f in content["frames"]}
            island = content.get("events", {}).get("dry_island") or {}
            islands = (tuple(island["centre_mm"]),) if island else ()
            found.append(Run(toml.parent.name, setup, front, edges, times, islands))
    return found


def lay_flat(run: Run) -> tuple[list[Frame], list[np.ndarray], Rectifier]:
    """Read and rectify every frame; the pictures themselves are let go."""
    with open_frames(run.setup) as frames:
        rectifier = Rectifier(run.setup, frames)
        heads, canvases = [], []
        for frame in frames:
            canvases.append(rectifier.rectify(frame).canvas)
            heads.append(Frame(frame.index, frame.name, frame.clock_s, frame.image[:1, :1]))
    return heads, canvases, rectifier


def rms(values: np.ndarray) -> float:
    """Root mean square."""
    return float(np.sqrt(np.mean(np.square(values))))
