"""Plans to learn from, and what is seen while they fill with other values than planned."""

import tempfile
from functools import cache
from pathlib import Path

from analysis.infusion.learn.knobs import knobs_of, turned
from analysis.infusion.seen.on_plan import bring_on_plan
from analysis.part.answer.clock import opening_impulses, times_of
from analysis.part.flow.filling import fill_plan
from analysis.part.plan.part_toml import read_part
from tests.made_up.part_seen import part_seen

COVER = """
[outline]
points_mm = [[0, 0], [900, 0], [900, 400], [0, 400]]
holes_mm = [[[260, 150], [380, 150], [380, 260], [260, 260]]]
[stack]
k1_m2 = 2.0e-10
k2_m2 = 2.0e-10
porosity = 0.5
thickness_mm = 3
[[zone]]
name = "doubler"
points_mm = [[450, 80], [640, 80], [640, 320], [450, 320]]
k1_m2 = 1.0e-10
k2_m2 = 1.0e-10
[[zone]]
name = "far end"
points_mm = [[780, 0], [900, 0], [900, 400], [780, 400]]
k1_m2 = 1.5e-10
k2_m2 = 1.5e-10
[[gap]]
line_mm = [[100, 400], [500, 400]]
width_mm = 1.0
[[feed]]
name = "left line"
line_mm = [[0, 0], [0, 400]]
[[vent]]
name = "right edge"
line_mm = [[900, 0], [900, 400]]
[resin]
viscosity_mpas = 200
gel_time_min = 300
density_kg_m3 = 1100
[vacuum]
pressure_difference_mbar = 950
[grid]
cells = 48
"""
"""A cover with a hatch, a doubler, a far end, an edge gap and one feed line."""
PLATE = """
[outline]
points_mm = [[0, 0], [600, 0], [600, 300], [0, 300]]
[stack]
k_m2 = 2e-10
porosity = 0.5
thickness_mm = 3
[[zone]]
name = "far patch"
points_mm = [[480, 0], [600, 0], [600, 300], [480, 300]]
k_m2 = 2e-10
[[gap]]
line_mm = [[100, 0], [450, 0]]
width_mm = 0.5
[[feed]]
name = "left line"
line_mm = [[0, 0], [0, 300]]
[[feed]]
name = "right point"
point_mm = [540, 150]
radius_mm = 6
[[vent]]
line_mm = [[300, 300], [400, 300]]
[resin]
viscosity_mpas = 200
[vacuum]
pressure_difference_mbar = 950
[grid]
cells = 60
"""
"""A plate with a patch, an edge gap, a feed line and a point feed."""


@cache
def job_of(text):
    """Return the plan that a part.toml says."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "part.toml"
        path.write_text(text, encoding="utf-8")
        return read_part(path)


def filled(job, plan=None, at=()):
    """Return cells, arrival in seconds and fill time of a plan, with numbers unlike it."""
    plan = plan or job.plan
    changed, factors = turned(plan, knobs_of(plan), at) if len(at) else (plan, ())
    fill = fill_plan(changed, opening_impulses(changed, job.impulse), factors=factors)
    arrival = times_of(job.impulse, fill.arrival[: fill.links.cells])
    return fill.links, arrival, float(job.impulse.time_of(fill.total))


def looked_at(truth, share, noise_s=8.0, **more):
    """Return what is seen of a filling when a share of its fill time is over."""
    links, arrival, full = truth
    noise = {"noise_s": noise_s, "sd_s": noise_s, **more}
    return bring_on_plan(part_seen(links, arrival, last_s=share * full, **noise), links)
