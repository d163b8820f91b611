"""A made-up part as it truly is, and how it filled: records."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating]


@dataclass(frozen=True)
class Layup:
    """A stack of fabric: principal permeabilities, the direction of the first, pores, thickness."""

    k1_m2: float
    k2_m2: float
    angle_deg: float = 0.0
    porosity: float = 0.5
    thickness_mm: float = 3.0

    def tensor_m3(self) -> Array:
        """Permeability times thickness, 2 x 2."""
        c, s = np.cos(np.radians(self.angle_deg)), np.sin(np.radians(self.angle_deg))
        turn = np.array([[c, -s], [s, c]])
        return turn @ np.diag([self.k1_m2, self.k2_m2]) @ turn.T * self.thickness_mm * 1e-3


@dataclass(frozen=True)
class Patch:
    """An area with its own lay-up; later patches lie over earlier ones."""

    name: str
    points_mm: Array
    layup: Layup


@dataclass(frozen=True)
class Slot:
    """An open gap along an edge, in which resin races: an open slot of width w has K = w^2 / 12."""

    line_mm: Array
    width_mm: float


@dataclass(frozen=True)
class Inlet:
    """A feed: a line of two or more points, or one point with a radius.

    It opens at the start, at a time, or once the front has passed the whole of it.
    """

    name: str
    points_mm: Array
    radius_mm: float = 0.0
    opens_at_s: float = 0.0
    opens_when_wet: bool = False
    resistance_mm: float = 0.0


@dataclass(frozen=True)
class Outlet:
    """A vent: a point or a line of points."""

    name: str
    points_mm: Array


@dataclass(frozen=True)
class Clock:
    """Driving impulse against time, at constant pressure and constant or doubling viscosity."""

    dp_pa: float = 95_000.0
    mu_pa_s: float = 0.2
    doubling_s: float = np.inf

    def impulse(self, time_s: Any) -> Array:
        """Integral of dP / mu."""
        rate, t = self.dp_pa / self.mu_pa_s, np.asarray(time_s, float)
        if not np.isfinite(self.doubling_s):
            return rate * t
        long = self.doubling_s / np.log(2)
        return rate * long * (1 - np.exp(-t / long))

    def time_s(self, impulse: Any) -> Array:
        """Inverse of `impulse`; infinity where the resin thickens before."""
        need = np.asarray(impulse, float) * self.mu_pa_s / self.dp_pa
        if not np.isfinite(self.doubling_s):
            return need
        long = self.doubling_s / np.log(2)
        left = np.maximum(1 - need / long, 0.0)
        with np.errstate(divide="ignore"):
            return -long * np.log(left)


@dataclass(frozen=True)
class World:
    """A part as it truly is.

    `log_sd` and `patch_mm` say how uneven the cloth is: log-normal, geometric mean 1 in each
    lay-up.
    """

    outline_mm: Array
    layup: Layup
    inlets: tuple[Inlet, ...]
    outlets: tuple[Outlet, ...] = ()
    holes_mm: tuple[Array, ...] = ()
    patches: tuple[Patch, ...] = ()
    slots: tuple[Slot, ...] = ()
    clock: Clock = field(default_factory=Clock)
    log_sd: float = 0.0
    patch_mm: float = 60.0


@dataclass(frozen=True)
class Filled:
    """How it filled: arrival at pixel centres, NaN outside, and when each feed opened; seconds."""

    x_mm: Array
    y_mm: Array
    time_s: Array
    opened_s: dict[str, float]

    @property
    def inside(self) -> NDArray[np.bool_]:
        """The part."""
        return ~np.isnan(self.time_s)

    @property
    def fill_s(self) -> float:
        """When the last spot wets."""
        return float(np.nanmax(self.time_s))
