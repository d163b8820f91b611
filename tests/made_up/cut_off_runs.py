"""Made-up infusions that cut air off, and good ones, unlike their plans in gaps and cloth."""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import distance_transform_edt, map_coordinates

from analysis.part.flow.filling import fill_plan
from analysis.part.flow.trapped import TrappedAir, find_trapped
from analysis.part.grid.canvas import lies_on
from analysis.part.plan.outline import rectangle
from analysis.part.plan.plan import Gap, PartFeed, PartPlan, PartStack, Place, Vent, Zone
from sample_frames._part_flow import fill
from sample_frames._part_world import Clock, Inlet, Layup, Patch, Slot, World

K, PHI, FILL_S, CELLS = 1.0e-10, 0.5, 3600.0, 60
STEP_MM, PX_MM, UNEVEN = 12.0, 5.0, 0.1
LEAST_TRAP = 0.02
"""Share of the part that a cut-off area has at least to be one that matters here."""


@dataclass(frozen=True)
class Run:
    """A plan, its forecast and the truth; times in seconds."""

    plan: PartPlan
    planned_s: np.ndarray
    truth_s: np.ndarray
    learnt_s: np.ndarray
    links: object
    trapped: tuple[TrappedAir, ...]
    closes_s: tuple[float, ...]

    @property
    def traps(self) -> bool:
        """Whether the truth cuts off an area that matters."""
        return bool(self.closes_s)


def line(*points):
    """A line through points."""
    return Place(np.array(points, float))


def made_plan(rng, gaps_mm, k_factor):
    """A rectangle fed from the left; vents to the right, or near there; gaps along both sides."""
    length, width = rng.uniform(400, 900), rng.uniform(200, 450)
    kind = int(rng.integers(4))
    far = {
        0: [line((length, 0), (length, width))],
        1: [Place(np.array([[length - 8, width / 2]]), 6.0)],
        2: [line((length, 0), (length, 0.3 * width)), line((length, 0.7 * width), (length, width))],
        3: [Place(np.array([[length - 8, 8.0]]), 6.0)],
    }[kind]
    ratio = rng.uniform(0.5, 1.0)
    zone = rectangle(0.35 * length, 0.5 * width) + np.array([0.4 * length, 0.1 * width])
    with_zone = bool(rng.integers(2))

    def plan(gaps, factor):
        sides = [
            Gap(np.array([[0.0, y], [length, y]]), g, (g * 1e-3) ** 2 / 12, 3.0)
            for y, g in zip((0.0, width), gaps, strict=True)
            if g > 0
        ]
        own = PartStack(K * factor, K * factor * ratio, 0.0, PHI, 3.0)
        zones = (Zone("patch", zone, own),) if with_zone else ()
        feeds = (PartFeed(line((0, 0), (0, width)), name="left"),)
        stack = PartStack(K, K * ratio, 0.0, PHI, 3.0)
        vents = tuple(Vent(place) for place in far)
        return PartPlan(
            rectangle(length, width), (), stack, zones, tuple(sides), feeds, vents, CELLS
        )

    return plan((0.3, 0.3), 1.0), plan(gaps_mm, k_factor)


def made_run(number):
    """Make the run of a number; the same number makes the same run.

    The truth comes from finite elements that share nothing with the plan's own filling, on cloth
    that is uneven. The corrected forecast is the plan's filling with a fit that is out by up to a
    tenth in each gap and by up to a twentieth in the cloth.
    """
    rng = np.random.default_rng(number)
    gaps = [float(rng.choice([0.0, 0.3, 1.0, 1.8])) for _ in range(2)]
    factor = float(rng.uniform(0.6, 1.5))
    state = rng.bit_generator.state
    planned, true = made_plan(rng, gaps, factor)
    off = np.random.default_rng(number + 1000)
    near = [gap * off.uniform(0.9, 1.1) for gap in gaps]
    rng.bit_generator.state = state
    _, fitted = made_plan(rng, near, factor * off.uniform(0.95, 1.05))
    a, c = (fill_plan(plan, steps=16) for plan in (planned, fitted))
    links, per_s = a.links, a.total / FILL_S
    truth_s = _true_times(true, links, per_s, number)
    vents = [lies_on(links, vent.place) for vent in true.vents]
    nodes = np.append(truth_s, np.full(links.count - links.cells, -1.0))
    trapped, _ = find_trapped(links, nodes, vents)
    least = LEAST_TRAP * float(links.share.sum()) * links.grid.cell_m2 * 1e6
    closes = tuple(t.impulse for t in trapped if t.area_mm2 >= least)
    forecasts = (fill.arrival[: links.cells] / per_s for fill in (a, c))
    planned_s, learnt_s = forecasts
    return Run(planned, planned_s, truth_s, learnt_s, links, trapped, closes)


def _true_times(plan, links, per_s, seed):
    """Seconds at which each cell truly wets."""
    filled = fill(_world(plan, per_s), step_mm=STEP_MM, px_mm=PX_MM, seed=seed)
    near = distance_transform_edt(~filled.inside, return_distances=False, return_indices=True)
    time_s = filled.time_s[tuple(near)]
    at = [
        (links.centre_mm[: links.cells, axis] - first) / PX_MM
        for axis, first in ((1, filled.y_mm[0]), (0, filled.x_mm[0]))
    ]
    return map_coordinates(time_s, at, order=1, mode="nearest")


def _world(plan, per_s):
    """The plan's part as the finite elements take it."""

    def layup(stack):
        return Layup(stack.k1_m2, stack.k2_m2, 0.0, stack.porosity, stack.thickness_mm)

    return World(
        plan.outline_mm,
        layup(plan.stack),
        tuple(Inlet(feed.name, feed.place.points_mm) for feed in plan.feeds),
        patches=tuple(Patch(zone.name, zone.points_mm, layup(zone.stack)) for zone in plan.zones),
        slots=tuple(Slot(gap.line_mm, gap.width_mm) for gap in plan.gaps),
        clock=Clock(dp_pa=per_s * Clock.mu_pa_s),
        log_sd=UNEVEN,
    )
