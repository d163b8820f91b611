"""Closed forms of a fill to hold the forecasts against."""

import numpy as np

from analysis.fit.front_laws import point_law


def edge_impulse(length_m: float, k_over_porosity_m2: float, feed_length_m: float = 0.0) -> float:
    """Impulse that fills a length from one edge: ``(L^2 + 2 a L) porosity / (2 K)``.

    Source: Darcy's law with a sharp front.
    """
    return (length_m**2 + 2.0 * feed_length_m * length_m) / (2.0 * k_over_porosity_m2)


def both_edges_impulse(length_m: float, k_over_porosity_m2: float) -> float:
    """Impulse that fills a length fed from both ends, or from a line in its middle."""
    return edge_impulse(length_m / 2.0, k_over_porosity_m2)


def disc_impulse(radius_m: float, feed_radius_m: float, k_over_porosity_m2: float) -> float:
    """Impulse that fills a disc from a hole in its centre (Adams, Russel, Rebenfeld 1988)."""
    h = point_law(feed_radius_m).h(np.array(radius_m))
    return float(h) / (4.0 * k_over_porosity_m2)


def rim_impulse(radius_m: float, front_radius_m: float, k_over_porosity_m2: float) -> float:
    """Impulse at which the front of a rim-fed disc has come in to `front_radius_m`.

    ``(R^2 - r^2 - 2 r^2 ln(R/r)) porosity / (4 K)``; full at r = 0.

    Source: Darcy's law in polar coordinates, integrated.
    """
    big, r = radius_m, front_radius_m
    inner = 0.0 if r == 0 else 2.0 * r**2 * np.log(big / r)
    return float((big**2 - r**2 - inner) / (4.0 * k_over_porosity_m2))
