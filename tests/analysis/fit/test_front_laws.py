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


LAWS = {
    "level": edge_law,
    "uphill": lambda: sloped_edge_law(0.3),
    "downhill": lambda: sloped_edge_law(-0.3),
    "hardly uphill": lambda: sloped_edge_law(1e-5),
    "point": lambda: point_law(0.006),
}


@pytest.mark.parametrize("name", LAWS)
def test_the_slope_is_the_derivative_and_the_front_the_inverse(name):
    law = LAWS[name]()
    x = law.start_m + np.array([0.003, 0.02, 0.1, 0.4, 1.1])
    step = 1e-6 * x
    assert_allclose(law.slope(x), (law.h(x + step) - law.h(x - step)) / (2 * step), rtol=1e-5)
    for a in (0.0, 0.02, 0.3):
        assert_allclose(law.front(law.h(x) + 2 * a * x, a), x, rtol=1e-7)


@pytest.mark.parametrize("share", [0.3, -0.3])
def test_series_and_closed_form_of_a_slope_meet(share):
    # z = G x is 1e-3 where one takes over from the other.
    law = sloped_edge_law(share)
    x = np.abs(1e-3 / share) * np.array([0.99, 1.01])
    z = share * x
    assert_allclose(law.h(x), x**2 * (1 + 2 * z / 3 + z**2 / 2), rtol=1e-9)


def test_a_slope_of_nothing_is_level():
    assert sloped_edge_law(5e-7).square
    assert not sloped_edge_law(2e-6).square
    assert sloped_edge_law(-0.4).limit_m == np.inf
    assert sloped_edge_law(0.4).limit_m == pytest.approx(2.5)


def test_factors_between_slope_and_permeability():
    assert (edge_law().k_factor, point_law(0.01).k_factor) == (2.0, 4.0)
    assert (edge_law().flow, point_law(0.01).flow) == ("edge", "point")
    assert (edge_law().start_m, point_law(0.01).start_m) == (0.0, 0.01)
