import numpy as np
import pytest
from scipy.integrate import solve_bvp

from analysis.panel.compaction import (
    Compaction,
    bag_factor,
    compaction_at,
    fibre_fraction,
    fraction_ratio,
    kozeny_ratio,
    slope_ratio,
    thickness_m,
)


@pytest.mark.parametrize(
    ("exponent", "factor"), [(0.0, 1.0), (0.03, 1.134), (0.06, 1.289), (0.10, 1.534)]
)
def test_front_under_a_soft_bag(exponent, factor):
    # Worked out independently by a boundary-value solver and by time stepping.
    assert bag_factor(Compaction(0.5, exponent), 1e5, 95e3) == pytest.approx(factor, abs=1e-3)


def test_bag_factor_against_a_boundary_value_solver():
    law, drive = Compaction(0.5, 0.06), 95e3
    vf_f = float(law.vf(1e5))

    def layer(share):
        pressure = np.maximum(1e5 - np.clip(share, 0, 1) * drive, 1.0)
        vf = law.vf(pressure)
        k = ((1 - vf) ** 3 / vf**2) / ((1 - vf_f) ** 3 / vf_f**2)
        return vf_f / vf, vf_f / vf * law.exponent * drive / pressure, k

    def rates(eta, y, p):
        thick, slope, k = layer(y[0])
        gradient = y[1] / (thick * k)
        return np.array([gradient, -p[0] / (1 - vf_f) * eta * slope * gradient])

    def ends(left, right, p):
        return np.array([left[0] - 1.0, right[0], right[1] + p[0]])

    eta = np.linspace(0, 1, 200)
    guess = np.stack([1 - eta, -np.ones(200)])
    run = solve_bvp(rates, ends, eta, guess, p=[1.2], tol=1e-6, max_nodes=20_000)
    assert bag_factor(law, 1e5, drive) == pytest.approx(run.p[0], rel=1e-3)


def test_thickness_and_fraction_undo_each_other():
    # h = n Aw / (rho Vf): 6 x 600 g/m2 glass, 8 x 300 g/m2 carbon (textbook relation).
    assert thickness_m(3.6, 2560.0, 0.55) * 1000 == pytest.approx(2.55682, abs=1e-5)
    assert thickness_m(2.4, 1790.0, 0.55) * 1000 == pytest.approx(2.43779, abs=1e-5)
    assert fibre_fraction(3.6, 2560.0, 2.8125e-3) == pytest.approx(0.5)


def test_hand_lay_up_thickness_gives_hand_lay_up_fractions():
    # An epoxy supplier's guide: 10 oz/yd2 (339.1 g/m2) is 0.016 in thick; hand lay-up holds
    # 25 to 33 % fibre by volume.
    assert fibre_fraction(0.3391, 2560.0, 0.016 * 0.0254) == pytest.approx(0.326, abs=1e-3)


def test_kozeny():
    assert kozeny_ratio(0.6, 0.5) == pytest.approx(2.8125)


def test_a_weaker_vacuum_packs_less_and_runs_easier():
    law = compaction_at(0.5, 95e3, 0.06)
    assert law.vf(95e3) == pytest.approx(0.5)
    assert slope_ratio(law, 95e3, 95e3) == pytest.approx(1.0)
    assert slope_ratio(law, 95e3, 80e3) > 1.01
    # By hand: s K / porosity at either pressure, K by Kozeny's form (1 - Vf)^3 / Vf^2.
    speeds = []
    for drive in (95e3, 80e3):
        vf = float(law.vf(drive))
        speeds.append(bag_factor(law, drive, 0.98 * drive) * (1 - vf) ** 3 / vf**2 / (1 - vf))
    assert slope_ratio(law, 95e3, 80e3) == pytest.approx(speeds[1] / speeds[0], rel=1e-9)
    assert fraction_ratio(0.5, 0.55) == pytest.approx(kozeny_ratio(0.5, 0.55) * 0.5 / 0.45)
