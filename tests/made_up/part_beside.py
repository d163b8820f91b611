"""A made-up cover of a tram roof unit, planned, and filled with something unlike the plan."""

from dataclasses import replace
from functools import cache

import numpy as np

from analysis.infusion.seen.on_plan import bring_on_plan
from analysis.part.answer.clock import opening_impulses
from analysis.part.answer.job import fill_part
from analysis.part.flow.filling import fill_plan
from analysis.part.plan.part_toml import read_part
from tests.made_up.part_seen import part_seen

PART = """
[part]
name = "cover of a roof unit"

[outline]
points_mm = [[0, 0], [600, 0], [600, 300], [0, 300]]

[stack]
k1_m2 = {k1}
k2_m2 = {k2}
k_low_m2 = {low}
k_high_m2 = {high}
porosity = 0.5
thickness_mm = 3

{more}
[[feed]]
name = "left line"
{feed}

[[vent]]
line_mm = [[600, 0], [600, 300]]

[resin]
viscosity_mpas = 300
gel_time_min = 90
temperature_c = 21

[vacuum]
pressure_difference_mbar = 900

[grid]
cells = 40
"""
LINE = "line_mm = [[0, 0], [0, 300]]"
POINT = "point_mm = [300, 150]\nradius_mm = 10"
ZONE = """
[[zone]]
name = "rib"
points_mm = [[200, 0], [350, 0], [350, 300], [200, 300]]
k_m2 = 1e-10
"""


@cache
def planned(folder, more="", feed=LINE, k1=1e-10, k2=1e-10):
    """Return the job and its answer of a plan in a folder."""
    path = folder / "part.toml"
    text = PART.format(more=more, feed=feed, k1=k1, k2=k2, low=0.9 * k1, high=1.1 * k1)
    path.write_text(text, encoding="utf-8")
    job = read_part(path)
    return job, fill_part(job)


def filled(job, answer, plan=None, factor=1.0, factors=(), **seen):
    """Return what a camera would see of a part that fills as another plan, or at another pace.

    Parameters
    ----------
    plan : PartPlan, optional
        The truth; the plan itself where left out.
    factor : float
        On all times.
    """
    plan = replace(plan or job.plan, cells=job.plan.cells)
    fill = fill_plan(plan, opening_impulses(plan, job.impulse), 24, factors=factors)
    cells = fill.links.cells
    arrival_s = np.asarray(answer.clock.impulse.time_of(fill.arrival[:cells])) * factor
    return seen_on(answer, arrival_s, **seen)


def seen_on(answer, arrival_s, **how):
    """Return made-up arrival times as seen, and on the plan's cells."""
    links = answer.filling.links
    how = {"sd_s": 6.0, "noise_s": 3.0} | how
    seen = part_seen(links, arrival_s, **how)
    return seen, bring_on_plan(seen, links)
