"""Published values of the flow: fronts, ellipses, and parts filled on a grid.

Tested in tests/analysis/selftest/test_report.py.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.fit.anisotropy import permeability_ratio
from analysis.fit.front_laws import edge_law, point_law
from analysis.fit.impulse import constant_impulse
from analysis.panel.compaction import Compaction, bag_factor
from analysis.panel.flow_media import Layer, lead_length
from analysis.part.flow.system import fill_impulse, open_feeds
from analysis.part.grid.canvas import lay_canvas
from analysis.part.plan.outline import disc, rectangle
from analysis.part.plan.plan import PartFeed, PartPlan, PartStack, Place
from analysis.selftest.check import Check
from vision.records import FloatArray

WASHBURN = "Washburn, Phys. Rev. 17, 273, 1921, for the form; number by quadrature"
ADAMS_ONLY = "Adams, Russel and Rebenfeld, Int. J. Multiphase Flow 14, 203, 1988"
ADAMS = f"{ADAMS_ONLY}; number by quadrature"
TORSION = "Timoshenko and Goodier, Theory of Elasticity (torsion, from memory)"
BY_ODE = "Darcy's law with rising viscosity; number by a solver of differential equations"
SOFT_BAG = "Darcy's law under a soft bag; number by a boundary-value solver and by time stepping"
K_M2, POROSITY, DRIVE_PA, VISCOSITY_PA_S = 1e-10, 0.5, 95_000.0, 0.2
CELLS = 100


def fill_ratio(outline: FloatArray, feed: Place, side_m: float) -> float:
    """Compute the impulse that fills a part, over porosity times the square of a length over K.

    Parameters
    ----------
    outline : ndarray of shape (N, 2), float
        Corners in mm.
    feed : Place
    side_m : float
        The length, in m.
    """
    stack = PartStack(K_M2, K_M2, 0.0, POROSITY, 3.0)
    plan = PartPlan(outline, (), stack, feeds=(PartFeed(feed),), cells=CELLS)
    total = float(fill_impulse(open_feeds(lay_canvas(plan), plan.feeds)).max())
    return total * K_M2 / (POROSITY * side_m**2)


def _rim(outline: FloatArray) -> Place:
    return Place(np.vstack([outline, outline[:1]]))


def _edge_time_s(length_m: float) -> float:
    theta = float(edge_law().h(np.array(length_m))) * POROSITY / (2 * K_M2)
    return theta * VISCOSITY_PA_S / DRIVE_PA


def _point_radius_mm(time_s: float) -> float:
    driven = 4 * K_M2 / POROSITY * DRIVE_PA / VISCOSITY_PA_S * time_s
    return 1e3 * float(point_law(0.006).front(driven))


def _rising(length_m: float) -> float:
    impulse = constant_impulse(DRIVE_PA, VISCOSITY_PA_S, np.log(2.0) / 1800.0)
    return float(impulse.time_of(length_m**2 * POROSITY / (2 * K_M2)))


def _lag_m() -> float:
    return lead_length(Layer(1e-3, 5e-9, 0.8), 3e-3, 0.5, 1e-12)


def _polygon(points: Sequence[Sequence[float]]) -> FloatArray:
    return np.array(points, float)


SQUARE = rectangle(500, 500)
ELLIPSE = disc(1.0) * (250.0, 150.0)
TRIANGLE = _polygon([[0, 0], [500, 0], [250, 250 * np.sqrt(3.0)]])
FLOW_CHECKS = (
    Check(
        "edge feed reaches 0.5 m (K 1e-10 m2, 950 mbar, 200 mPa s, porosity 0.5)", WASHBURN,
        1315.789, "s", 6e-4, lambda: _edge_time_s(0.5), 7,
    ),
    Check(
        "point feed of 6 mm after 600 s, the same", ADAMS, 195.456, "mm", 1e-3,
        lambda: _point_radius_mm(600.0),
    ),
    Check(
        "K1/K2 of an ellipse of 594.604 by 420.448 mm", f"{ADAMS_ONLY}: a/b = sqrt(K1/K2) far out",
        2.0, "", 0.004, lambda: float(permeability_ratio(594.604, 420.448, 6.0)), 3,
    ),
    Check(
        "edge feed reaches 0.5 m while viscosity doubles in 30 min", BY_ODE, 1834.962, "s", 2e-3,
        lambda: _rising(0.5), 7,
    ),
    Check(
        "effective over true permeability under a soft bag", SOFT_BAG, 1.289, "", 1e-3,
        lambda: bag_factor(Compaction(0.5, 0.06), 1e5, 95e3), 4,
    ),
    Check(
        "lag of the tool side behind flow media",
        "steady front in two layers; number by a solver of differential equations", 0.13416, "m",
        1e-5,
        lambda: _lag_m(), 5,
    ),
    Check(
        "square fed all round, fill over that of its side", TORSION, 0.0736714, "", 0.00037,
        lambda: fill_ratio(SQUARE, _rim(SQUARE), 0.5), 4,
    ),
    Check(
        "triangle fed all round: 1/36", TORSION, 1 / 36, "", 0.00014,
        lambda: fill_ratio(TRIANGLE, _rim(TRIANGLE), 0.5), 4,
    ),
    Check(
        "ellipse of 250 by 150 mm fed all round, over its half length", TORSION,
        0.15**2 / (2 * (0.25**2 + 0.15**2)), "", 0.00066,
        lambda: fill_ratio(ELLIPSE, _rim(ELLIPSE), 0.25), 4,
    ),
    Check(
        "disc of 250 mm fed by a hole of 10 mm in its centre, over its radius", ADAMS,
        (2 * np.log(25.0) - 1 + 0.04**2) / 4, "", 0.0068,
        lambda: fill_ratio(disc(250), Place(np.zeros((1, 2)), 10.0), 0.25), 4,
    ),
)  # fmt: skip
