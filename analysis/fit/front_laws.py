"""Front laws: closed forms that tie the front's place to the driving impulse.

Every law reads ``h(x) + 2 a x = D theta + c``. For an edge feed h = x^2 and D = 2 K / porosity;
for a point feed h = r^2 (2 ln(r/r0) - 1) + r0^2 and D = 4 K / porosity; a is the extra length
that stands for a feed that resists, c what happened before the clock was right.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from vision.records import FloatArray

Form = Callable[[FloatArray], FloatArray]
GRAVITY_M_S2 = 9.80665
"""Standard gravity (ISO 80000-3)."""


@dataclass(frozen=True)
class FrontLaw:
    """One closed form.

    Attributes
    ----------
    flow : {"edge", "point"}
        Kind of feed.
    h, slope : callable
        The form and its derivative, metres in, square metres and metres out.
    start_m : float
        Smallest front position, where h is 0.
    k_factor : float
        D = k_factor K / porosity.
    limit_m : float
        Greatest front position; below infinity only where gravity holds the resin back.
    square : bool
        h is x^2, which has a closed inverse.
    """

    flow: str
    h: Form
    slope: Form
    start_m: float
    k_factor: float
    limit_m: float = float("inf")
    square: bool = False

    def front(self, y_m2: ArrayLike, feed_length_m: float = 0.0) -> FloatArray:
        """Solve ``h(x) + 2 a x = y`` for the front x, in metres; `start_m` where y is too small.

        In one step for a level edge feed, else by Newton from above: h is convex and rising, so
        each step stays above the root.
        """
        y = np.asarray(y_m2, dtype=float)
        if self.square:
            root = np.sqrt(np.maximum(y, 0.0) + feed_length_m**2)
            return np.maximum(y, 0.0) / np.maximum(root + feed_length_m, 1e-300)
        floor = self.h(np.array(self.start_m)) + 2.0 * feed_length_m * self.start_m
        y_safe = np.maximum(y, floor)
        x = self.start_m + np.sqrt(np.maximum(y_safe - floor, 0.0)) + 1e-12
        if np.isfinite(self.limit_m):
            x = np.minimum(x, self.limit_m * (1.0 - 1e-9))
        else:
            x = self._above(x, y_safe, feed_length_m)
        for _ in range(60):
            gap = self.h(x) + 2.0 * feed_length_m * x - y_safe
            step = gap / np.maximum(self.slope(x) + 2.0 * feed_length_m, 1e-300)
            x_new = np.clip(x - step, self.start_m, self.limit_m * (1.0 - 1e-12))
            done = np.all(np.abs(x_new - x) <= 1e-14 + 1e-13 * np.abs(x))
            x = x_new
            if done:
                break
        return np.where(y <= floor, self.start_m, x)

    def _above(self, x: FloatArray, y: FloatArray, a: float) -> FloatArray:
        for _ in range(60):
            below = self.h(x) + 2.0 * a * x < y
            if not np.any(below):
                break
            x = np.where(below, 2.0 * x, x)
        return x


def edge_law() -> FrontLaw:
    """Edge feed: ``x^2 = 2 K theta / porosity``.

    Source: Darcy's law with a sharp front; the form is that of Washburn 1921, Phys. Rev. 17, 273.
    """
    return FrontLaw("edge", lambda x: x**2, lambda x: 2.0 * x, 0.0, 2.0, square=True)


def sloped_edge_law(head_share_per_m: float) -> FrontLaw:
    """Edge feed on a slope, front running uphill where `head_share_per_m` is positive.

    Parameters
    ----------
    head_share_per_m : float
        G = density * g * sin(slope) / pressure difference, per metre.

    Notes
    -----
    Source: Darcy's law with the resin's weight, porosity x dx/dtheta = K (1 - G x), integrated:
    ``-2 x / G - 2 ln(1 - G x) / G^2 = 2 K theta / porosity``. Exact at steady pressure.
    """
    g = head_share_per_m
    if abs(g) < 1e-6:
        return edge_law()

    def h(x: FloatArray) -> FloatArray:
        z = g * np.asarray(x, dtype=float)
        small = np.abs(z) < 1e-3
        safe = np.where(small, 0.5, z)
        exact = -2.0 * (safe + np.log1p(-np.minimum(safe, 1 - 1e-15))) / g**2
        series = x**2 * (1.0 + 2.0 * z / 3.0 + z**2 / 2.0)
        return np.where(small, series, exact)

    def slope(x: FloatArray) -> FloatArray:
        return 2.0 * x / np.maximum(1.0 - g * x, 1e-15)

    return FrontLaw("edge", h, slope, 0.0, 2.0, 1.0 / g if g > 0 else float("inf"))


def point_law(feed_radius_m: float) -> FrontLaw:
    """Point feed of radius r0, equivalent radius r of the front.

    Source: Adams, Russel and Rebenfeld 1988, Int. J. Multiphase Flow 14, 203-215; Chan and Hwang
    1991, Polym. Eng. Sci. 31, 1233-1239.

    Examples
    --------
    >>> law = point_law(0.006)
    >>> round(float(law.front(4 * 1e-10 / 0.5 * 95_000 / 0.2 * 121.85320)), 6)
    0.1
    """
    r0 = feed_radius_m

    def h(r: FloatArray) -> FloatArray:
        ratio = np.maximum(np.asarray(r, dtype=float) / r0, 1.0)
        return r0**2 * (ratio**2 * (2.0 * np.log(ratio) - 1.0) + 1.0)

    def slope(r: FloatArray) -> FloatArray:
        ratio = np.maximum(np.asarray(r, dtype=float) / r0, 1.0)
        return 4.0 * r0 * ratio * np.log(ratio)

    return FrontLaw("point", h, slope, r0, 4.0)
