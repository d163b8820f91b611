"""Fill times and arrival maps against closed forms.

Sources: the line, radial and converging forms follow from Darcy's law with a sharp front by
quadrature (radial: Adams, Russel, Rebenfeld, Int. J. Multiphase Flow 14, 203-215, 1988; Chan and
Hwang, Polym. Eng. Sci. 31, 1233-1239, 1991). Perimeter-fed shapes are the torsion functions of
elasticity textbooks (Timoshenko and Goodier, Theory of Elasticity, from memory): square
0.0736714 a^2, ellipse a^2 b^2 / (2 (a^2 + b^2)), equilateral triangle a^2 / 36, rectangles from the
same series. The L-shapes have no closed form: finite differences extrapolated to the limit.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from analysis.part.flow.filling import fill_plan
from analysis.part.flow.system import fill_impulse, open_feeds
from analysis.part.grid.canvas import lay_canvas
from analysis.part.plan.outline import disc, l_shape, rectangle
from analysis.part.plan.plan import PartFeed, PartPlan, PartStack, Place

K, PHI = 1.0e-10, 0.5
G = PHI / K


def plan_of(outline, feeds, cells=100, stack=None, resistance_mm=0.0):
    """A part of one stack; a feed is a line, or (point, radius)."""
    places = [
        Place(np.array([feed[0]], float), feed[1])
        if isinstance(feed, tuple)
        else Place(np.array(feed, float))
        for feed in feeds
    ]
    return PartPlan(
        np.asarray(outline, float),
        (),
        stack or PartStack(K, K, 0.0, PHI, 3.0),
        feeds=tuple(PartFeed(place, resistance_mm=resistance_mm) for place in places),
        cells=cells,
    )


def total(plan):
    return float(fill_impulse(open_feeds(lay_canvas(plan), plan.feeds)).max())


def closed(loop):
    return np.vstack([loop, loop[:1]])


def ring(radius, centre=(0.0, 0.0)):
    return closed(disc(radius, centre))


SQUARE = rectangle(500, 500)
TRIANGLE = np.array([[0, 0], [500, 0], [250, 250 * np.sqrt(3)]])
ELLIPSE = disc(1.0) * (250.0, 150.0)


def radial(radius_m, r0_m):
    return G / 4 * (radius_m**2 * (2 * np.log(radius_m / r0_m) - 1) + r0_m**2)


CASES = {
    "edge feed": (rectangle(500, 120), [[[0, 0], [0, 120]]], G * 0.5**2 / 2),
    "two edges": (
        rectangle(500, 120),
        [[[0, 0], [0, 120]], [[500, 0], [500, 120]]],
        G * 0.5**2 / 8,
    ),
    "centre line": (rectangle(500, 120), [[[250, 0], [250, 120]]], G * 0.5**2 / 8),
    "disc from centre": (disc(250), [((0, 0), 10.0)], radial(0.25, 0.01)),
    "disc from centre, thin feed": (disc(250), [((0, 0), 3.0)], radial(0.25, 0.003)),
    "disc from centre, wide feed": (disc(250), [((0, 0), 40.0)], radial(0.25, 0.04)),
    "ring to centre": (disc(250), [ring(250)], G * 0.25**2 / 4),
    "ellipse from its rim": (
        ELLIPSE,
        [closed(ELLIPSE)],
        G * (0.25 * 0.15) ** 2 / (2 * (0.25**2 + 0.15**2)),
    ),
    "triangle from its rim": (TRIANGLE, [closed(TRIANGLE)], G * 0.5**2 / 36),
    "square from its rim": (SQUARE, [closed(SQUARE)], 0.0736714 * G * 0.5**2),
    "rectangle 1 x 2 from its rim": (
        rectangle(1000, 500),
        [closed(rectangle(1000, 500))],
        0.1138718 * G * 0.5**2,
    ),
    "rectangle 1 x 3 from its rim": (
        rectangle(750, 250),
        [closed(rectangle(750, 250))],
        0.1226824 * G * 0.25**2,
    ),
    "square from its centre": (
        SQUARE,
        [((250, 250), 10.0)],
        G * 0.25 * (np.log(50.0) / (2 * np.pi) - 0.1534189 + 0.02**2 / 4),
    ),
    "L from one end": (
        l_shape(500, 500, 250, 250),
        [[[500, 0], [500, 250]]],
        3.8587 * G * 0.25**2,
    ),
    "L from one side": (
        l_shape(500, 500, 250, 250),
        [[[0, 0], [500, 0]]],
        1.7375 * G * 0.25**2,
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_fill_impulse_is_within_half_a_percent_at_100_cells(name):
    outline, feeds, exact = CASES[name]
    assert_allclose(total(plan_of(outline, feeds)), exact, rtol=0.005)


def test_a_feed_that_resists_adds_the_length_it_stands_for():
    # x^2 + 2 a x = 2 K theta / porosity.
    plan = plan_of(rectangle(500, 120), [[[0, 0], [0, 120]]], resistance_mm=50.0)
    assert_allclose(total(plan), G / 2 * (0.5**2 + 2 * 0.05 * 0.5), rtol=1e-6)


@pytest.mark.parametrize("x", [100.0, 101.3, 102.5, 250.0])
def test_a_line_that_resists_has_one_pressure_for_both_its_sides(x):
    # Beneath the line w = porosity L (a / 2) / K, whichever side takes the resin; beyond it
    # porosity / (2 K) times the square of the longer side. As strips of 1 mm width.
    plan = plan_of(rectangle(500, 100), [[[x, 0], [x, 100]]], resistance_mm=50.0)
    longest = max(x, 500 - x) / 1000
    assert_allclose(total(plan), G / 2 * (longest**2 + 0.5 * 0.05), rtol=2e-3)


def test_a_line_anywhere_between_cells_keeps_its_place():
    for x in (250.0, 251.3, 252.5, 253.9):
        plan = plan_of(rectangle(500, 100), [[[x, 0], [x, 100]]])
        assert_allclose(total(plan), G / 2 * (x / 1000) ** 2, rtol=2e-3)


HALF_ELLIPSE = disc(1.0) * (250.0, 125.0)
SMOOTH = {
    "ring to centre": CASES["ring to centre"],
    "square from its rim": CASES["square from its rim"],
    "ellipse 2 x 1 from its rim": (
        HALF_ELLIPSE,
        [closed(HALF_ELLIPSE)],
        G * (0.25 * 0.125) ** 2 / (2 * (0.25**2 + 0.125**2)),
    ),
}


@pytest.mark.parametrize("name", SMOOTH)
def test_smooth_parts_converge_at_second_order(name):
    outline, feeds, exact = SMOOTH[name]
    sizes = np.array([24, 48, 96, 192])  # even both ways: the centre lies alike on every grid
    errors = [abs(total(plan_of(outline, feeds, int(n))) - exact) for n in sizes]
    order = -np.polyfit(np.log(sizes), np.log(errors), 1)[0]
    assert 1.7 < order < 2.3


def test_l_shape_reproduces_the_finite_difference_table_and_its_order():
    # The known values at 10 to 80 cells per side; the order at a re-entrant corner is 4/3.
    table = {10: 3.88254, 20: 3.86797, 40: 3.86234, 80: 3.86013}
    found = {}
    for n, value in table.items():
        plan = plan_of(l_shape(500, 500, 250, 250), [[[500, 0], [500, 250]]], 2 * n)
        found[n] = total(plan) / (G * 0.25**2)
        assert_allclose(found[n], value, atol=6e-6)
    assert abs(found[40] / 3.8587 - 1) < 0.002
    order = np.log2((found[20] - found[40]) / (found[40] - found[80]))
    assert 1.2 < order < 1.5


@pytest.mark.parametrize(("ratio", "angle"), [(2.0, 0.0), (4.0, 0.0), (4.0, 30.0), (10.0, 65.0)])
def test_uneven_ellipse_from_its_rim_at_any_angle(ratio, angle):
    # w = c (1 - x^2/a^2 - y^2/b^2) along the principal axes, c = porosity/2/(K1/a^2 + K2/b^2).
    turn = np.deg2rad(angle)
    outline = ELLIPSE @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    stack = PartStack(ratio * K, K, angle, PHI, 3.0)
    exact = PHI / 2 / (ratio * K / 0.25**2 + K / 0.15**2)
    assert_allclose(total(plan_of(outline, [closed(outline)], 100, stack)), exact, rtol=0.005)


@pytest.mark.parametrize("ratio", [2.0, 3.0])
def test_turned_rectangle_of_an_uneven_stack(ratio):
    # Flow along a principal axis between slanting walls is one-dimensional.
    turn = np.deg2rad(27.0)
    way = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    outline = rectangle(500, 200) @ way
    feed = outline[[0, 3]]
    stack = PartStack(ratio * K, K, 27.0, PHI, 3.0)
    exact = G / ratio * 0.5**2 / 2
    coarse, fine = (total(plan_of(outline, [feed], n, stack)) / exact - 1 for n in (100, 200))
    assert abs(coarse) < 0.005
    assert abs(fine) < 0.65 * abs(coarse)  # first order at slanting walls


@pytest.mark.parametrize(("ratio", "angle"), [(1.0, 0.0), (2.0, 0.0), (2.0, 30.0), (4.0, 70.0)])
def test_point_feed_spreads_as_the_closed_form_before_it_meets_a_wall(ratio, angle):
    # In coordinates stretched to an even stack, rho^2 (2 ln(rho/r0) - 1) + r0^2 = 4 Ke theta/phi.
    stack = PartStack(ratio * K, K, angle, PHI, 3.0)
    fill = fill_plan(plan_of(SQUARE, [((250, 250), 6.0)], 100, stack), steps=30)
    away = (fill.links.centre_mm - 250.0) / 1000
    turn = np.deg2rad(angle)
    along = away @ (np.cos(turn), np.sin(turn))
    across = away @ (-np.sin(turn), np.cos(turn))
    stretch = ratio**0.25
    rho = np.hypot(along / stretch, across * stretch)
    k_e = K * np.sqrt(ratio)
    # A round feed acts as the mean of the half axes it has in those coordinates.
    r0 = 0.006 * (stretch + 1 / stretch) / 2
    exact = PHI / (4 * k_e) * (rho**2 * (2 * np.log(np.maximum(rho, 1e-6) / r0) - 1) + r0**2)
    ring_ = (rho > 0.12) & (rho < 0.8 * 0.25 / stretch)
    error = fill.arrival[ring_] / exact[ring_] - 1
    assert abs(error.mean()) < 0.005
    assert np.sqrt(np.mean(error**2)) < 0.01
    # In length: a third of a cell in the mean square.
    slope = PHI / k_e * rho[ring_] * np.log(rho[ring_] / r0)
    off = (fill.arrival[ring_] - exact[ring_]) / slope
    assert np.sqrt(np.mean(off**2)) < 0.33 * 0.005


@pytest.mark.parametrize(("ratio", "angle"), [(4.0, 0.0), (10.0, 0.0), (10.0, 25.0)])
def test_a_small_round_feed_in_an_uneven_stack_does_what_the_circle_itself_does(ratio, angle):
    # On 40 cells it is smaller than a cell and tied in; on 480 cells its rim is drawn.
    stack = PartStack(ratio * K, K, angle, PHI, 3.0)
    feed = [((250, 250), 8.0)]
    small, drawn = (total(plan_of(SQUARE, feed, cells, stack)) for cells in (40, 480))
    assert_allclose(small, drawn, rtol=0.008 if angle else 0.004)


def slit_fed_ellipse(ratio, angle, way_deg):
    """An ellipse fed along the line between its foci, in coordinates stretched to an even stack.

    In elliptic coordinates x + i y = c cosh(xi + i eta), with P = porosity c^2 / (8 Ke),
    w / P = 2 sinh(2 xi0) xi - cosh 2 xi - cos 2 eta + 1
            + (cosh 2 xi - tanh(2 xi0) sinh 2 xi) cos 2 eta
    is 0 on the slit and has no flux through xi = xi0; by differentiation.
    """
    half_mm, xi0 = 150.0, 0.9
    turn = np.deg2rad(angle)
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    # Even coordinates X to the part's x: stretched by ratio^(1/4) along K1.
    back = rotation @ np.diag([ratio**0.25, ratio**-0.25])
    lie = np.deg2rad(way_deg)
    laid = np.array([[np.cos(lie), -np.sin(lie)], [np.sin(lie), np.cos(lie)]])
    rim = disc(1.0) * (half_mm * np.cosh(xi0), half_mm * np.sinh(xi0))
    line = np.array([[-half_mm, 0.0], [half_mm, 0.0]])

    def exact(points_mm):
        even = points_mm @ np.linalg.inv(back).T @ laid
        zeta = np.arccosh((even[:, 0] + 1j * even[:, 1]) / half_mm + 0j)
        xi, eta = np.abs(zeta.real), zeta.imag
        w = 2 * np.sinh(2 * xi0) * xi - np.cosh(2 * xi) - np.cos(2 * eta) + 1
        w += (np.cosh(2 * xi) - np.tanh(2 * xi0) * np.sinh(2 * xi)) * np.cos(2 * eta)
        return PHI * (half_mm / 1000) ** 2 / (8 * K * np.sqrt(ratio)) * w

    return rim @ laid.T @ back.T, line @ laid.T @ back.T, exact


@pytest.mark.parametrize(
    ("ratio", "angle", "way", "within"),
    [
        (1.0, 0.0, 0.0, 0.001),
        (1.0, 0.0, 27.0, 0.001),
        (4.0, 30.0, 0.0, 0.006),
        (4.0, 30.0, 70.0, 0.006),
    ],
)
def test_a_line_that_ends_inside_the_part_acts_with_its_true_length(ratio, angle, way, within):
    outline, line, exact = slit_fed_ellipse(ratio, angle, way)
    plan = plan_of(outline, [line], 100, PartStack(ratio * K, K, angle, PHI, 3.0))
    links = lay_canvas(plan).links
    w = fill_impulse(open_feeds(lay_canvas(plan), plan.feeds))
    true = exact(links.centre_mm)
    assert_allclose(w.max(), true[links.share > 0.5].max(), rtol=within)
    # Just past the ends, three to six cells off.
    cell = links.grid.dx_mm
    off = np.min([np.hypot(*(links.centre_mm - end).T) for end in line], axis=0)
    past = (off > 3 * cell) & (off < 6 * cell)
    assert np.abs(w[past] / true[past] - 1).max() < 0.06
    assert abs(np.mean(w[past] / true[past]) - 1) < 0.01
