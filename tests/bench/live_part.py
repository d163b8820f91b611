"""Seconds that a live look at a part takes behind the eyes, on a grid of 20,000 cells.

Run: ``python -m tests.bench.live_part``. Prints the slowest of the looks over a run: joining what
was seen to the forecast, areas about to be cut off, next feeds and the time left. The eyes'
own part of a look is not in it.
"""

import time

import numpy as np

from analysis.infusion.ahead.cut_offs import find_cut_offs
from analysis.infusion.ahead.front_ahead import look_ahead
from analysis.infusion.ahead.next_feed import feeds_to_open
from analysis.infusion.ahead.time_left import time_left
from analysis.infusion.seen.on_plan import bring_on_plan
from analysis.part.flow.filling import fill_plan
from analysis.part.plan.outline import rectangle
from analysis.part.plan.plan import Gap, PartFeed, PartPlan, PartStack, Place, Vent
from tests.made_up.part_seen import part_seen

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
    main()
