"""Seconds of one core that learning from a part takes, cold and warm, beside a plain filling.

    python tests/bench/part_fit_speed.py [--cells 5000 20000 60000] [--profile] [NAME ...]

Each part is filled by finite elements that know other values than the plan, and looked at when half
of it is full and again when 0.6 is. Cold is the first fit, the plan not filled beforehand, as on
the board; warm is the second, begun from the first. A plain filling of the plan on the same grid is
timed beside them, so that the ratios hold on any machine. Processor time, all threads.
"""

from __future__ import annotations

import argparse
import cProfile
import pstats
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import TypeVar

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from analysis.infusion.learn.fit_plan import fit_plan
from analysis.infusion.learn.learnt import Learnt
from analysis.infusion.seen.on_plan import SeenOnPlan, bring_on_plan
from analysis.part.answer.clock import opening_impulses
from analysis.part.flow.filling import Filling, fill_plan
from analysis.part.plan.part_toml import PartJob
from sample_frames._part_flow import fill
from sample_frames._part_make import PartRecipe
from sample_frames._part_recipes import PART_RECIPES
from sample_frames._part_world import Filled
from tests.made_up.part_seen import part_seen
from tests.made_up.parts.cases import CASES
from tests.made_up.parts.cut_offs import job_of
from tests.made_up.parts.scored import at_places

RECIPES: dict[str, PartRecipe] = {**PART_RECIPES, **CASES}
USUAL = ("part_run", "strip_zone", "gap_drift", "later_shadow", "two_feeds_glare", "turned_cloth")
NOISE = 0.004
Out = TypeVar("Out")


@cache
def truth(name: str) -> Filled:
    """Return how a part truly filled."""
    recipe = RECIPES[name]
    return fill(recipe.true, step_mm=recipe.step_mm, px_mm=recipe.px_mm, seed=recipe.seed)


def enlarged(job: PartJob, planned: Filling, cells: int) -> PartJob:
    """Return the plan on a grid of about so many cells."""
    size = round(job.plan.cells * float(np.sqrt(cells / planned.links.cells)))
    return replace(job, plan=replace(job.plan, cells=size))


def looked_at(planned: Filling, filled: Filled, share: float) -> SeenOnPlan:
    """Return what is seen when a share of the fill time is over."""
    links = planned.links
    arrival = at_places(filled, *links.centre_mm[: links.cells].T)
    noise = NOISE * filled.fill_s
    seen = part_seen(links, arrival, noise_s=noise, sd_s=noise, last_s=share * filled.fill_s)
    return bring_on_plan(seen, links)


def timed(what: Callable[[], Out]) -> tuple[Out, float]:
    """Return what comes out and the seconds of processor time it took."""
    began = time.process_time()
    out = what()
    return out, time.process_time() - began


def told(found: Learnt, filled: Filled) -> str:
    """Return what was learnt over what is true, in short."""
    values = " ".join(f"{v.value:.4g}" for v in found.values if v.told)
    return f"fill {found.fill_time_s / filled.fill_s:.4f}; {values}"


def fit_times(name: str, cells: int, profile: cProfile.Profile | None) -> str:
    """Time the fits of one part on one grid; return a row of the table."""
    job, filled = job_of(RECIPES[name].planned), truth(name)
    opens_at = opening_impulses(job.plan, job.impulse)
    job = enlarged(job, fill_plan(job.plan, opens_at), cells)
    planned, plain_s = timed(lambda: fill_plan(job.plan, opens_at))
    half, later = (looked_at(planned, filled, share) for share in (0.5, 0.6))
    if profile:
        profile.enable()
    first, cold_s = timed(lambda: fit_plan(job, half))
    if profile:
        profile.disable()
    again, warm_s = timed(lambda: fit_plan(job, later, start=first))
    row = (
        f"| {name} | {planned.links.cells} | {plain_s:.2f} | {cold_s:.1f} | {cold_s / plain_s:.1f}"
    )
    row += f" | {warm_s:.1f} | {warm_s / plain_s:.1f} |"
    return f"{row} {told(first, filled)} / {told(again, filled)}"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*")
    parser.add_argument("--cells", nargs="*", type=int, default=[5000, 20000, 60000])
    parser.add_argument("--profile", action="store_true", help="where the cold fits spend it")
    asked = parser.parse_args()
    profile = cProfile.Profile(time.process_time) if asked.profile else None
    print("| part | cells | filling, s | cold, s | in fillings | warm, s | in fillings |")
    print("|---|---|---|---|---|---|---|")
    for name in asked.names or USUAL:
        for cells in asked.cells:
            print(fit_times(name, cells, profile), flush=True)
    if profile:
        pstats.Stats(profile).sort_stats("cumulative").print_stats(45)


if __name__ == "__main__":
    main()
