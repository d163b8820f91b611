"""Made-up infusions that cut air off, and good ones, unlike their plans in gaps and cloth."""

from dataclasses import dataclass

import numpy as np

from analysis.part.flow.filling import fill_plan
from analysis.part.flow.trapped import TrappedAir
from analysis.part.plan.outline import rectangle
from analysis.part.plan.plan import Gap, PartFeed, PartPlan, PartStack, Place, Vent, Zone

K, PHI, FILL_S, CELLS = 1.0e-10, 0.5, 3600.0, 60
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

    The corrected forecast is that of a fit which is out by up to a tenth in each gap and by up to
    a twentieth in the cloth.
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
    a, b, c = (fill_plan(plan, steps=16) for plan in (planned, true, fitted))
    per_s, cells = a.total / FILL_S, a.links.cells
    least = LEAST_TRAP * float(b.links.share.sum()) * b.links.grid.cell_m2 * 1e6
    closes = tuple(t.impulse / per_s for t in b.trapped if t.area_mm2 >= least)
    times = (fill.arrival[:cells] / per_s for fill in (a, b, c))
    return Run(planned, *times, a.links, b.trapped, closes)
