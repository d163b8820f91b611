"""What each part of the tracker buys: the error with one part at a time switched off.

Run by hand: ``python tests/bench/ablation.py [FOLDER ...]``, each FOLDER holding panel folders
with a truth.json. Frames are laid flat once per run and measured with settings that switch one
part off. Prints the root mean square error of the mean front in mm as a Markdown table, then a
second one: how many runs each part changes by more than `SAME_MM`, and in how many it changes
what is said. ``--all`` takes all made-up runs, ``--hunt`` puts the folders' runs through the
conditions of `tests/bench/hunt.py` as well; ``--parts`` tries only the parts named (by the
beginning of their names). A part that changes no run anywhere buys nothing.
"""

import argparse
import re
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.bench.conditions import CONDITIONS
from tests.bench.hunt import Held, load
from tests.bench.runs import Run, rms, runs
from tests.made_up.shop.cases import CASES
from tests.made_up.shop.run import ShopFrames, setup_of
from vision.errors import WetlineError
from vision.frames.source import open_frames, resin_start_clock_s
from vision.records import Tracked
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
    "glare above the light": without("light", glare_above=1.0),
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
    "doubtful dry patches": without("repair", least_dry_mm2=OFF),
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

SAME_MM = 0.05
"""Two errors of the mean front that differ by less than this are taken for the same."""


@dataclass(frozen=True)
class Outcome:
    """What came of one run: the error of its mean front, and all that is said of it.

    Attributes
    ----------
    error_mm : float
        Root mean square; NaN where it is not read.
    said : tuple of str
        Refusal, doubts, warnings without their figures, dry spots, stall, end, rows not used.
    """

    error_mm: float
    said: tuple[str, ...]

    @property
    def text(self) -> str:
        """The error for a table."""
        return f"{self.error_mm:.2f}" if np.isfinite(self.error_mm) else "not read"


Measure = Callable[[TrackerSettings], Outcome]


def said_of(tracked: Tracked) -> tuple[str, ...]:
    """Return what a run says, without figures that shift a little with anything."""
    front, curve = tracked.front, tracked.curve
    words = (front.reason, *front.doubts, *front.warnings)
    return (
        *(re.sub(r"[0-9.]+", "#", text) for text in words),
        f"{len(front.dry_spots)} dry spots, filled {front.filled}, "
        f"stalled {front.stalled_at_mm is not None}",
        " ".join(n for n, used in zip(curve.frames, curve.used, strict=True) if not used),
    )


def measuring(
    tracker: Tracker, start_s: float | None, error_of: Callable[[Tracked], float]
) -> Measure:
    """Return a function that measures what a tracker has taken, with settings of its own."""
    own = tracker.settings.steps

    def measured(settings: TrackerSettings) -> Outcome:
        tracker.settings = replace(settings, steps=replace(settings.steps, follow=own.follow))
        try:
            tracked = tracker.finish(start_s).tracked
        except (ValueError, np.linalg.LinAlgError) as error:
            return Outcome(np.nan, (f"fails: {error!r}",))
        return Outcome(error_of(tracked), said_of(tracked))

    return measured


def laid_flat(run: Run) -> Measure:
    """Read a run once; return a function that measures it."""
    with open_frames(run.setup) as frames:
        tracker = Tracker(run.setup, Rectifier(run.setup, frames))
        for frame in frames:
            tracker.add(frame)
        start = resin_start_clock_s(run.setup, frames)
    return measuring(
        tracker, start, lambda t: rms(run.error_mm(t.curve.frames, t.curve.front_mean_mm))
    )


def made_up(name: str) -> Measure:
    """Lay a made-up run flat; return a function that measures it."""
    shop = next(case.shop for case in CASES if case.name == name)
    setup, frames = setup_of(shop), ShopFrames(shop)
    tracker = Tracker(setup, Rectifier(setup, frames))
    for frame in frames:
        tracker.add(frame)
    true_mm = np.array([shop.flow.lanes_mm(t).mean() for t in shop.times_s])
    start = None  # found by the tracker even where the case states it

    def error_mm(tracked: Tracked) -> float:
        if len(tracked.curve.front_mean_mm) != len(true_mm):
            return float("nan")
        return rms(tracked.curve.front_mean_mm - true_mm)

    return measuring(tracker, start, error_mm)


def hunted(run: Run) -> Iterator[tuple[str, Measure]]:
    """Put a run through every condition of the hunt; those that cannot be laid flat are left."""
    photos = load(run)
    for name, change in CONDITIONS.items():
        changed = change(photos)
        try:
            frames = Held(changed)
            tracker = Tracker(changed.setup, Rectifier(changed.setup, frames))
            for frame in frames:
                tracker.add(frame)
        except WetlineError:
            continue
        yield (
            f"{run.name}, {name}",
            measuring(
                tracker,
                None,
                lambda t: rms(run.error_mm(t.curve.frames, t.curve.front_mean_mm)),
            ),
        )


def chosen_runs(options: argparse.Namespace) -> Iterator[tuple[str, Measure]]:
    """Yield the runs to try one after the other, so that one at a time is held."""
    found = runs(options.folders)
    for run in found:
        yield run.name, laid_flat(run)
    for name in [case.name for case in CASES] if options.all else HARD:
        yield name, made_up(name)
    for run in found if options.hunt else ():
        yield from hunted(run)


def errors_table(parts: list[str], outcomes: dict[str, dict[str, Outcome]]) -> Iterator[str]:
    """Write the error of each run without each part, as Markdown lines."""
    yield "| without | " + " | ".join(outcomes) + " |"
    yield "|---" * (len(outcomes) + 1) + "|"
    for part in parts:
        yield f"| {part} | " + " | ".join(run[part].text for run in outcomes.values()) + " |"


def changes_table(parts: list[str], outcomes: dict[str, dict[str, Outcome]]) -> Iterator[str]:
    """Write how many runs each part changes, as Markdown lines."""
    yield "| without | worse | better | said otherwise | of runs | most |"
    yield "|---|---|---|---|---|---|"
    for part in parts[1:]:
        gap = {n: run[part].error_mm - run[parts[0]].error_mm for n, run in outcomes.items()}
        lost = {n: np.isnan(run[part].error_mm) for n, run in outcomes.items()}
        read = {n: not np.isnan(run[parts[0]].error_mm) for n, run in outcomes.items()}
        worse = sum(gap[n] > SAME_MM or (lost[n] and read[n]) for n in outcomes)
        better = sum(gap[n] < -SAME_MM or (not lost[n] and not read[n]) for n in outcomes)
        said = sum(run[part].said != run[parts[0]].said for run in outcomes.values())
        most = max(outcomes, key=lambda n: abs(np.nan_to_num(gap[n])))
        yield (
            f"| {part} | {worse} | {better} | {said} | {len(outcomes)} "
            f"| {most}: {np.nan_to_num(gap[most]):+.2f} |"
        )


def main() -> None:
    """Print the tables, a row per part."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="*")
    parser.add_argument("--all", action="store_true", help="all made-up runs, not the hard ones")
    parser.add_argument("--hunt", action="store_true", help="the hunt's conditions as well")
    parser.add_argument("--parts", nargs="*", help="parts, by the beginning of their names")
    options = parser.parse_args()
    base, *rest = PARTS
    parts = [base, *(p for p in rest if not options.parts or p.startswith(tuple(options.parts)))]
    outcomes: dict[str, dict[str, Outcome]] = {}
    for name, measured in chosen_runs(options):
        outcomes[name] = {part: measured(PARTS[part]) for part in parts}
        changed = [p for p in parts if outcomes[name][p].said != outcomes[name][base].said]
        print(f"{name} done; said otherwise without: {changed}", file=sys.stderr, flush=True)
    print("\n".join(errors_table(parts, outcomes)))
    print()
    print("\n".join(changes_table(parts, outcomes)))


if __name__ == "__main__":
    main()
