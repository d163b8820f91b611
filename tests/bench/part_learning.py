"""What is learnt of parts whose truth comes from another solver.

    python tests/bench/part_learning.py [--share 0.5 1.0] [--seen] [NAME ...]

For each made-up part, looked at when a share of it is full: K of each zone and width of each gap
as learnt over the true one, whether the truth lies in its interval, the fill time as forecast over
the true one, and the seconds it took. Arrival is the truth with a camera's noise; with --seen it is
what the eyes make of the part's photos, those after the share left out.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from analysis.infusion.learn.fit_plan import fit_plan
from analysis.infusion.seen.on_plan import bring_on_plan
from analysis.infusion.seen.part_setup import part_camera
from analysis.part.answer.clock import opening_impulses
from analysis.part.flow.filling import fill_plan
from analysis.part.plan.part_toml import PartJob, read_part
from sample_frames._part_make import plan_toml
from tests.made_up.part_seen import part_seen
from tests.made_up.parts.cases import CASES
from tests.made_up.parts.made_part import made_part, true_filling
from tests.made_up.parts.scored import at_places
from vision.part_records import PartSeen
from vision.parts.track_part import track_part_folder


def job_of(name: str) -> PartJob:
    """Return the plan of a made-up part as its user wrote it."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "part.toml"
        case = CASES[name]
        text = plan_toml(case.title, case.planned, case.gel_time_min)
        path.write_text(text, encoding="utf-8")
        return read_part(path)


def true_values(name: str) -> list[float]:
    """Return the true K of each zone, then the true width of each gap."""
    world = CASES[name].true
    stacks = [world.layup, *(patch.layup for patch in world.patches)]
    return [stack.k1_m2 for stack in stacks] + [slot.width_mm for slot in world.slots]


def by_camera(name: str, last_s: float) -> PartSeen:
    """Return what the eyes make of a part's photos; what they wet after a time is dry."""
    seen = track_part_folder(part_camera(read_part(made_part(name))), quiet=True).seen
    later = seen.inside & (seen.time_s > last_s)
    return replace(
        seen,
        time_s=np.where(later, np.inf, seen.time_s),
        sd_s=np.where(later, np.nan, seen.sd_s),
        last_s=min(last_s, seen.last_s),
    )


def learn(name: str, share: float, by_eyes: bool = False) -> str:
    """Learn from one part and return a line of the table."""
    job, filled = job_of(name), true_filling(name)
    planned = fill_plan(job.plan, opening_impulses(job.plan, job.impulse))
    links = planned.links
    centre = links.centre_mm[: links.cells]
    arrival = at_places(filled, centre[:, 0], centre[:, 1])
    last = share * filled.fill_s if share < 1 else 1.01 * filled.fill_s
    noise = 0.004 * filled.fill_s
    seen = (
        by_camera(name, last)
        if by_eyes
        else part_seen(links, arrival, noise_s=noise, sd_s=noise, last_s=last)
    )
    began = time.perf_counter()
    found = fit_plan(job, bring_on_plan(seen, links))
    took = time.perf_counter() - began
    words = []
    values = [value for value in found.values if value.kind != "feed"]
    for value, true in zip(values, true_values(name), strict=True):
        held = "in" if value.low <= true <= value.high else "OUT"
        words.append(f"{value.value / true:5.2f} {held}" if value.told else "not told")
    fill = found.fill_time_s / filled.fill_s
    held = "in" if found.fill_low_s <= filled.fill_s <= found.fill_high_s else "OUT"
    odd = f", {len(found.unlike)} places unlike" if found.unlike else ""
    return (
        f"{name:22} {share:4.1f} fill {fill:5.3f} {held:3} {took:4.1f} s  {'; '.join(words)}{odd}"
    )


def main() -> None:
    """Learn from the parts named, or all."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*")
    parser.add_argument("--share", nargs="*", type=float, default=[0.5, 1.0])
    parser.add_argument("--seen", action="store_true", help="go through the photos")
    asked = parser.parse_args()
    for name in asked.names or CASES:
        for share in asked.share:
            print(learn(name, share, asked.seen), flush=True)


if __name__ == "__main__":
    main()
