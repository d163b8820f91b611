import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp

from analysis.fit.front_laws import edge_law, point_law, sloped_edge_law

THETA_PER_S = 95_000.0 / 0.2
D_EDGE, D_POINT = 2e-10 / 0.5, 4e-10 / 0.5


def test_edge_feed_reaches_the_tabled_places_on_time():
    # Washburn 1921, Phys. Rev. 17, 273, for the form; times worked out by quadrature.
    x = np.array([0.1, 0.2, 0.3, 0.5, 1.0])
    t = np.array([52.632, 210.526, 473.684, 1315.789, 5263.158])
    assert_allclose(edge_law().h(x) / (D_EDGE * THETA_PER_S), t, atol=6e-4)
    assert_allclose(edge_law().front(D_EDGE * THETA_PER_S * t), x, rtol=1e-5)


def test_a_feed_that_resists():
    # x^2 + 2 a x = D t with a = 50 mm, times worked out by quadrature.
    t = np.array([105.263, 631.579, 1578.947])
    assert_allclose(edge_law().front(1.9e-4 * t, 0.05), [0.1, 0.3, 0.5], rtol=1e-5)


def test_point_feed_table():
    # Adams, Russel and Rebenfeld 1988, Int. J. Multiphase Flow 14, 203-215, for the equation.
    rho = np.array([2.0, 5.0, 10.0, 20.0])
    assert_allclose(
        point_law(1.0).h(rho), [2.545177, 56.471896, 361.517019, 1997.585819], rtol=1e-6
    )
    t = np.array([30.0, 60.0, 120.0, 240.0, 360.0, 600.0])
    r_mm = [56.969, 74.966, 99.372, 132.532, 157.234, 195.456]
    assert_allclose(point_law(0.006).front(D_POINT * THETA_PER_S * t) * 1000, r_mm, atol=1e-3)


def test_point_feed_starts_as_twice_the_square_of_the_gap():
    assert_allclose(point_law(1.0).h(np.array(1.001)), 2 * 0.001**2, rtol=1e-2)


@pytest.mark.parametrize("head_share_per_m", [0.3, -0.3, 1e-4])
def test_slope_against_an_ode(head_share_per_m):
    def speed(theta, x):
        return 0.5 * D_EDGE * (1 - head_share_per_m * x) / x

    theta = np.array([1e8, 4e8, 9e8])
    start = 1e-4
    first = float(sloped_edge_law(head_share_per_m).h(np.array(start))) / D_EDGE
    run = solve_ivp(speed, (first, 9e8), [start], t_eval=theta, rtol=1e-10, atol=1e-13)
    law = sloped_edge_law(head_share_per_m)
    assert_allclose(law.front(D_EDGE * theta), run.y[0], rtol=1e-6)


def test_uphill_the_front_stops_where_its_weight_balances_the_vacuum():
    law = sloped_edge_law(0.5)
    assert law.front(1e6) == pytest.approx(2.0, rel=1e-6)


def test_fronts_below_the_start_stay_at_the_start():
    assert point_law(0.006).front(-1.0) == pytest.approx(0.006)
    assert edge_law().front(-1.0) == 0.0
