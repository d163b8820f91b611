"""A part while it fills: seconds of a live look, and live eyes beside recorded ones.

Run: ``python -m tests.bench.live_part``. Prints the slowest of the looks over a run behind the
eyes, on a grid of 20,000 cells: joining what was seen to the forecast, areas about to be cut off,
next feeds and the time left.

Run: ``python -m tests.bench.live_part eyes [FOLDER ...]``, each FOLDER holding folders of parts
with truth; the made-up parts come first. Prints part by part how much of what both the live and
the recorded eyes saw at the end lies within the live one's stated uncertainty, once and twice; and
how the live eyes stand to the truth half-way and at the end.
"""

import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from analysis.infusion.ahead.cut_offs import find_cut_offs
from analysis.infusion.ahead.front_ahead import look_ahead
from analysis.infusion.ahead.next_feed import feeds_to_open
from analysis.infusion.ahead.time_left import time_left
from analysis.infusion.seen.on_plan import bring_on_plan
from analysis.part.flow.filling import fill_plan
from analysis.part.plan.outline import rectangle
from analysis.part.plan.plan import Gap, PartFeed, PartPlan, PartStack, Place, Vent
from tests.bench.hunt import Held
from tests.bench.part_hunt import Found, Part, load, score
from tests.made_up.part_seen import part_seen
from tests.made_up.parts.cases import CASES
from tests.made_up.parts.made_part import made_part
from vision.frames.source import resin_start_clock_s
from vision.part_records import PartSeen
from vision.parts.live_part import LivePart
from vision.parts.track_part import track_part

LENGTH, WIDTH, CELLS, FILL_S = 600.0, 300.0, 200, 3600.0
LOOKS = 12


def plan(gap_mm):
    """A cover fed from the left, with an edge gap on both sides."""
    left = Place(np.array([[0.0, 0.0], [0.0, WIDTH]]))
    middle = Place(np.array([[LENGTH / 2, 0.0], [LENGTH / 2, WIDTH]]))
    vent = Place(np.array([[LENGTH - 8.0, WIDTH / 2]]), 6.0)
    sides = [np.array([[0.0, y], [LENGTH, y]]) for y in (0.0, WIDTH)]
    gaps = tuple(Gap(side, gap_mm, (gap_mm * 1e-3) ** 2 / 12, 3.0) for side in sides)
    feeds = (PartFeed(left, name="left"), PartFeed(middle, 900.0, name="middle"))
    stack = PartStack(1e-10, 1e-10, 0.0, 0.5, 3.0)
    return PartPlan(rectangle(LENGTH, WIDTH), (), stack, (), gaps, feeds, (Vent(vent),), CELLS)


@dataclass(frozen=True)
class Eyes:
    """Live eyes beside recorded ones, and beside the truth.

    Attributes
    ----------
    once, twice : float
        Share of the places both saw in which the live reading at the end lies within so many of
        its stated uncertainties of the recorded one.
    seen : float
        Share of what the recorded eyes saw that the live ones saw too.
    half, end : Found
        The live reading against the truth.
    look_s : float
        Processor time of the slower look.
    """

    part: str
    once: float
    twice: float
    seen: float
    half: Found
    end: Found
    look_s: float


def told_part(folder: Path) -> Part:
    """Read a part's photos and truth, with its start where part.toml tells it."""
    part = load(folder)
    start = part.start_clock_s - float(part.photos.clock_s[0]) if part.told else None
    camera = part.photos.setup
    camera = replace(camera, frames=replace(camera.frames, resin_start=start))
    return replace(part, photos=replace(part.photos, setup=camera))


def eyes_of(part: Part) -> Eyes:
    """Follow a part live and as a recording."""
    frames = Held(part.photos)
    camera = part.photos.setup
    start = resin_start_clock_s(camera.setup(), frames)
    live, looks, took = LivePart.of(camera, frames), [], []
    for number, frame in enumerate(frames, start=1):
        live.add(frame)
        if number in (max(len(frames) // 2, live.canvases.fewest), len(frames)):
            began = time.process_time()
            looks.append(live.read(start))
            took.append(time.process_time() - began)
    half, end = (score(look, part) for look in looks)
    both, once, twice = agreement(looks[-1], track_part(camera, frames).seen)
    return Eyes(part.name, once, twice, both, half, end, max(took))


def agreement(live: PartSeen, recorded: PartSeen) -> tuple[float, float, float]:
    """Return what share of the recorded places is seen live, and agrees within 1 and 2 sd."""
    size = recorded.inside.shape[::-1]

    def on(field, way=cv2.INTER_NEAREST):
        return cv2.resize(np.asarray(field, np.float32), size, interpolation=way)

    told = recorded.inside & recorded.seen
    seen = told & (on(live.inside & live.seen) > 0)
    dry = np.isinf(live.time_s)
    times = np.where(dry | ~live.inside, 0.0, live.time_s)
    weight = on(live.inside & ~dry, cv2.INTER_LINEAR)
    time_s = on(times, cv2.INTER_LINEAR) / np.maximum(weight, 1e-3)
    time_s = np.where(on(dry & live.inside) > 0, np.inf, time_s)
    sd = np.hypot(on(np.nan_to_num(live.sd_s)), live.start_sd_s)
    off = np.abs(np.minimum(time_s, live.last_s) - np.minimum(recorded.time_s, recorded.last_s))
    within = [float(np.mean(off[seen] <= many * sd[seen])) for many in (1.0, 2.0)]
    return float(seen.sum() / max(told.sum(), 1)), within[0], within[1]


def compared(folders: list[Path]) -> Iterator[Eyes]:
    """Compare the eyes on the made-up parts, and on those of FOLDER."""
    for name in CASES:
        yield eyes_of(told_part(made_part(name)))
    for folder in folders:
        for toml in sorted(folder.glob("*/part.toml")):
            yield eyes_of(told_part(toml.parent))


def beside():
    """Print live eyes beside recorded ones."""
    for e in compared([Path(text) for text in sys.argv[2:]]):
        said = ["WRONG" if f.wrong else "marked" if f.marked else "" for f in (e.half, e.end)]
        print(
            f"{e.part:14} live seen {e.seen:4.0%} of recorded; within sd {e.once:6.1%}, twice "
            f"{e.twice:6.1%}; true half-way {e.half.kept:6.1%} {said[0]}, at the end "
            f"{e.end.kept:6.1%} {said[1]}; look {e.look_s:.2f} s",
            flush=True,
        )


def main():
    """Time the looks of one run."""
    planned, true = plan(0.3), plan(1.0)
    opens_at = [0.0, 0.0]
    forecast, truth = (fill_plan(p, opens_at, steps=24) for p in (planned, true))
    links = forecast.links
    per_s = forecast.total / FILL_S
    arrival = truth.arrival[: links.cells] / per_s
    took = []
    for now in np.linspace(0.05, 0.95, LOOKS) * arrival.max():
        seen = part_seen(links, arrival, noise_s=5.0, last_s=now)
        start = time.perf_counter()
        on = bring_on_plan(seen, links)
        ahead = look_ahead(on, forecast.arrival / per_s)
        find_cut_offs(planned, ahead)
        feeds_to_open(planned, on)
        time_left(ahead, 7200.0)
        took.append(time.perf_counter() - start)
    print(
        f"{links.cells} cells, {LOOKS} looks: {max(took):.2f} s at most, {np.mean(took):.2f} s mean"
    )


if __name__ == "__main__":
    beside() if sys.argv[1:2] == ["eyes"] else main()
