"""The anisotropic point feed against a direct numerical solution of the filling problem."""

import numpy as np
import pytest
from scipy import sparse
from scipy.sparse.linalg import spsolve

from analysis.fit.anisotropy import equivalent_feed_radius, permeability_ratio
from analysis.fit.front_laws import point_law

R0 = 0.006
CELL = 0.00075


def solve_filling(k1, k2, theta, nx=150, ny=130):
    """Semi-axes of the wet region from u >= 0, div(K grad u) <= porosity, u = theta in the hole.

    The obstacle form of Elliott and Janovsky 1981 (from memory), on a quarter with porosity 1, by
    a primal-dual active set (Hintermueller, Ito and Kunisch 2002, SIAM J. Optim. 13, 865, from
    memory).
    """
    x, y = (np.arange(nx) * CELL)[:, None], (np.arange(ny) * CELL)[None, :]
    hole = (np.hypot(x, y) <= R0).ravel()

    def second(n):
        d = sparse.diags([np.ones(n - 1), -2 * np.ones(n), np.ones(n - 1)], [-1, 0, 1]).tolil()
        d[0, 1] = 2.0  # mirror at the axis
        return d.tocsr() / CELL**2

    a = -(
        k1 * sparse.kron(second(nx), sparse.eye(ny)) + k2 * sparse.kron(sparse.eye(nx), second(ny))
    )
    a = a.tocsr()
    u = np.where(hole, theta, 0.0)
    wet = np.hypot(x / 0.03, y / 0.025).ravel() <= 1.0
    for _ in range(200):
        free = wet & ~hole
        u = np.where(hole, theta, 0.0)
        u[free] = spsolve(a[free][:, free], -1.0 - a[free] @ u)
        force = a @ u + 1.0
        now = np.where(wet, u > 0, force < 0) | hole
        if np.array_equal(now, wet):
            break
        wet = now
    u = u.reshape(nx, ny)
    return _edge(u[:, 0]), _edge(u[0, :])


def _edge(u):
    """Where the root of u, which is straight near the front, comes to nothing."""
    last = int(np.flatnonzero(u > 0)[-1])
    root = np.sqrt(u[last - 4 : last])
    slope, cut = np.polyfit(np.arange(last - 4, last) * CELL, root, 1)
    return -cut / slope


@pytest.mark.parametrize(("ratio", "reach"), [(2.0, 3.5), (2.0, 7.0), (4.0, 5.0)])
def test_axis_ratio_and_speed_of_a_round_hole(ratio, reach):
    k1, k2 = ratio**0.5, ratio**-0.5  # mean 1, porosity 1
    theta = float(point_law(equivalent_feed_radius(R0, ratio)).h(np.array(reach * R0))) / 4.0
    a, b = solve_filling(k1, k2, theta)
    found = float(permeability_ratio(a, b, R0))
    plain = (a / b) ** 2
    assert found == pytest.approx(ratio, rel=0.04)
    assert abs(found - ratio) < abs(plain - ratio)
    # Staircase hole and grid cost about 2 % in the radius.
    assert np.sqrt(a * b) == pytest.approx(reach * R0, rel=0.03)
