"""What each part of the tracker buys: the error with one part at a time switched off.

Run by hand: ``python tests/bench/ablation.py [FOLDER ...]``, each FOLDER holding panel folders
with a truth.json. Frames are laid flat once per run; the parts are switched off by replacing
functions and limits of the modules for the length of one measurement. Prints the root mean
square error of the mean front in mm as a Markdown table.
"""

import contextlib
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.bench.runs import Run, rms, runs
from tests.made_up.shop.cases import CASES
from tests.made_up.shop.run import ShopFrames, setup_of
from vision.arrival.frame_strips import arrival_map as measure
from vision.frames.source import open_frames, resin_start_clock_s
from vision.illumination import coarse_wetting as cells
from vision.illumination import frame_light as cell_light
from vision.rectify.rectifier import Rectifier
from vision.repair import inpaint as holes
from vision.tracking.tracker import Tracker
from vision.wetting.change_point import change_point as wetting
from vision.wetting.change_point import occlusion as no_vote

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

Switch = tuple[object, str, object]


def dark_border(table, basis):
    """Stand for `cells.border_light`: the table tells nothing."""
    count, _, colours = table.change.shape
    return np.zeros((count, basis.size, colours))


def always_even(*_rest):
    """Stand for `cells.is_uneven`: no shadow is more than a quadratic."""
    return False


def no_refit(flat, basis, *_rest):
    """Stand for `cell_light.light_left`: what is left of the light on the panel stays."""
    return np.zeros((len(flat), basis.size, flat.shape[2]))


def no_deepening(flat, *_rest):
    """Stand for `cells.deepening`: wet looks the same at any age."""
    return np.ones(len(flat))


def nothing_hidden(levels, *_rest):
    """Stand for `wetting.hidden_patches`."""
    return [np.zeros((1, 1), bool)] * len(levels)


def nothing_odd(change, *_rest):
    """Stand for `cells.odd_colours`: every colour passes."""
    return np.zeros(change.shape[:2], bool)


def nowhere(first, *_rest):
    """Stand for functions that mark pixels: none."""
    shape = first.shape
    return np.zeros(shape, bool)


def no_ink(_levels, dry, *_rest):
    """Stand for `wetting.ink_marks`."""
    return np.zeros(dry.shape, bool)


def sure_of_glare(_brightness, _expected, count):
    """Stand for `wetting.doubtful_glare`: glare always votes."""
    return [np.zeros((0, 0), bool)] * count


def no_sun(look, seen, *_rest):
    """Stand for `measure.sunlit_later`: what looks dry again was dry."""
    return look.change, seen


def no_sunlit(_levels, dry, *_rest):
    """Stand for `no_vote.sunlit`: what is bright votes."""
    return np.zeros(dry.shape, bool)


def never_stopped(wetted):
    """Stand for `holes.last_moved`: something wets to the last frame."""
    return len(wetted) - 2


def no_offset(look, *_rest):
    """Stand for `edge.edge_offsets`: the contour is the front."""
    return np.zeros(len(look.levels)), 1.0


def unfilled(change, _last_dry, _first_wet, seen, *_rest):
    """Stand for `holes.fill_change`: holes keep what was guessed there."""
    return change.astype(np.int16), seen


PARTS: dict[str, tuple[Switch, ...]] = {
    "everything on": (),
    "light from the border": ((cells, "border_light", dark_border),),
    "uneven light": ((cells, "is_uneven", always_even),),
    "refit of the light on the panel": ((cells, "light_left", no_refit),),
    "deepening": ((cells, "deepening", no_deepening),),
    "strength by frame": ((cell_light, "LEAST_CELLS", 10**9),),
    "hidden patches": ((wetting, "hidden_patches", nothing_hidden),),
    "other colours": ((cells, "odd_colours", nothing_odd),),
    "rims of holes": ((holes, "out_of_step", nowhere),),
    "foreign objects": ((wetting, "foreign_things", nowhere),),
    "specks": ((wetting, "specks", nowhere),),
    "ink on dark cloth": ((wetting, "ink_marks", no_ink),),
    "glare under another lamp": ((wetting, "doubtful_glare", sure_of_glare),),
    "sun on what was wet": ((measure, "sunlit_later", no_sun),),
    "fill along the flow": ((measure, "ALONG_FLOW", 1),),
    "front that has stopped": ((holes, "last_moved", never_stopped),),
    "strange colours": ((no_vote, "STRANGE", 1e6),),
    "onset (half-way instead)": ((wetting, "ONSET", 0.5), (no_vote, "ONSET", 0.5)),
    "edge offset": ((measure, "edge_offsets", no_offset),),
    "fill from around": ((measure, "fill_change", unfilled),),
    "cut off from the feed": ((measure, "cut_off", nowhere),),
    "wet before the first frame": (
        (measure, "wet_before", nowhere),
        (measure, "wet_along_edge", nowhere),
    ),
    "the same along a whole edge": ((measure, "wet_along_edge", nowhere),),
    "sun on what is dry": ((wetting, "sunlit", no_sunlit),),
}


@contextlib.contextmanager
def switched(switches: tuple[Switch, ...]) -> Iterator[None]:
    """Replace names of modules, and put them back."""
    before = [(module, name, getattr(module, name)) for module, name, _ in switches]
    try:
        for module, name, value in switches:
            setattr(module, name, value)
        yield
    finally:
        for module, name, value in before:
            setattr(module, name, value)


def laid_flat(run: Run) -> Callable[[], float]:
    """Read a run once; give a function that measures it and returns its error."""
    with open_frames(run.setup) as frames:
        tracker = Tracker(run.setup, Rectifier(run.setup, frames))
        for frame in frames:
            tracker.add(frame)
        start = resin_start_clock_s(run.setup, frames)

    def error_mm() -> float:
        curve = tracker.finish(start).tracked.curve
        return rms(run.error_mm(curve.frames, curve.front_mean_mm))

    return error_mm


def made_up(name: str) -> Callable[[], float]:
    """Lay a made-up run flat; give a function that measures it and returns its error."""
    shop = next(case.shop for case in CASES if case.name == name)
    setup, frames = setup_of(shop), ShopFrames(shop)
    tracker = Tracker(setup, Rectifier(setup, frames))
    for frame in frames:
        tracker.add(frame)
    true_mm = np.array([shop.flow.lanes_mm(t).mean() for t in shop.times_s])

    def error_mm() -> float:
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
        for switches in PARTS.values():
            with switched(switches):
                try:
                    error_mm = measured()
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
