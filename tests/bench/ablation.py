"""What each part of the tracker buys: the error with one part at a time switched off.

Run by hand: ``python tests/bench/ablation.py [FOLDER ...]``, each FOLDER holding panel folders
with a truth.json. Frames are laid flat once per run and measured with settings that switch one
part off. Prints the root mean square error of the mean front in mm as a Markdown table.
"""

import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.bench.runs import Run, rms, runs
from tests.made_up.shop.cases import CASES
from tests.made_up.shop.run import ShopFrames, setup_of
from vision.frames.source import open_frames, resin_start_clock_s
from vision.rectify.rectifier import Rectifier
from vision.settings.causes import OFF
from vision.settings.tracker_settings import TrackerSettings
from vision.tracking.tracker import Tracker

# Made-up runs for the parts that calm samples do not need.
HARD = (
    "hands for a fifth of the frames",
    "somebody leans over",
    "pen lines and figures",
    "cup left lying",
    "glare moves as the bag settles",
    "under way in the first frame",
    "shadow against the flow",
    "sun falls on what is wet",
    "sun falls on what is still dry",
    "under way, carbon in glare",
    "pen from the first frames, channels",
    "lamp beside glare, carbon",
    "stalls under ink",
)

ALL_ON = TrackerSettings()


def without(room: str, **values: object) -> TrackerSettings:
    """Return the settings with some of a room's set so that a part does nothing."""
    return replace(ALL_ON, **{room: replace(getattr(ALL_ON, room), **values)})


PARTS: dict[str, TrackerSettings] = {
    "everything on": ALL_ON,
    "light from the border": without("light", farthest_border=0.0),
    "uneven light": without("light", uneven=OFF),
    "refit of the light on the panel": without("light", refit=False),
    "deepening": without("light", deepening=(1.0, 1.0)),
    "strength by frame": without("light", least_cells=OFF),
    "hidden patches": without("wetting", hidden_share=OFF),
    "other colours": without("light", off_colour=OFF),
    "rims of holes": without("repair", out_of_step=1.0),
    "foreign objects": without("wetting", foreign=OFF),
    "specks": without("wetting", speck_frames=OFF),
    "ink on dark cloth": without("wetting", ink_step=OFF),
    "glare under another lamp": without("wetting", glare_doubt=OFF),
    "sun on what was wet": without("repair", sun_frames=OFF),
    "sun on what is dry": without("wetting", sun_lasts=OFF),
    "fill along the flow": without("repair", along_flow=1),
    "front that has stopped": without("repair", still=-1.0),
    "strange colours": without("wetting", strange=OFF),
    "onset (half-way instead)": without("wetting", onset=0.5),
    "edge offset": without("edge", noise=OFF),
    "fill from around": without("repair", fill_holes=False),
    "cut off from the feed": without("repair", most_ahead=0.0),
    "wet before the first frame": without("repair", least_later=OFF, most_of_feed=OFF),
    "the same along a whole edge": without("repair", most_of_feed=OFF),
}

Measure = Callable[[TrackerSettings], float]


def laid_flat(run: Run) -> Measure:
    """Read a run once; return a function that measures it and returns its error."""
    with open_frames(run.setup) as frames:
        tracker = Tracker(run.setup, Rectifier(run.setup, frames))
        for frame in frames:
            tracker.add(frame)
        start = resin_start_clock_s(run.setup, frames)

    def error_mm(settings: TrackerSettings) -> float:
        tracker.settings = settings
        curve = tracker.finish(start).tracked.curve
        return rms(run.error_mm(curve.frames, curve.front_mean_mm))

    return error_mm


def made_up(name: str) -> Measure:
    """Lay a made-up run flat; return a function that measures it and returns its error."""
    shop = next(case.shop for case in CASES if case.name == name)
    setup, frames = setup_of(shop), ShopFrames(shop)
    tracker = Tracker(setup, Rectifier(setup, frames))
    for frame in frames:
        tracker.add(frame)
    true_mm = np.array([shop.flow.lanes_mm(t).mean() for t in shop.times_s])

    def error_mm(settings: TrackerSettings) -> float:
        tracker.settings = settings
        curve = tracker.finish(None).tracked.curve
        return rms(curve.front_mean_mm - true_mm)

    return error_mm


def main() -> None:
    """Print the table, a row per part."""
    chosen = [(run.name, laid_flat(run)) for run in runs(sys.argv[1:])]
    chosen += [(name, made_up(name)) for name in HARD]
    columns: list[list[str]] = []
    for name, measured in chosen:
        column = []
        for settings in PARTS.values():
            try:
                error_mm = measured(settings)
                column.append(f"{error_mm:.2f}" if np.isfinite(error_mm) else "not read")
            except (ValueError, np.linalg.LinAlgError):
                column.append("fails")
        columns.append(column)
        print(f"{name} done", file=sys.stderr, flush=True)
    print("| without | " + " | ".join(name for name, _ in chosen) + " |")
    print("|---" * (len(chosen) + 1) + "|")
    for row, part in enumerate(PARTS):
        print(f"| {part} | " + " | ".join(column[row] for column in columns) + " |")


if __name__ == "__main__":
    main()
