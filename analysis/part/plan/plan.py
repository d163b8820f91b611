"""The plan of a part as records: SI inside, mm on the plane.

Tested in tests/analysis/part/plan/test_part_toml.py.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from vision.records import FloatArray


@dataclass(frozen=True)
class PartStack:
    """A lay-up as the resin meets it.

    Attributes
    ----------
    k1_m2, k2_m2 : float
        Principal permeabilities.
    angle_deg : float
        Direction of `k1_m2`, from x towards y.
    porosity : float
        Share of pores, 0 to 1.
    thickness_mm : float
    low, high : float
        Factors on permeability at the ends of its 95 % interval.
    assumed : bool
        Whether that interval was taken because none was given; lay-up scatter is in it then.
    source : str
        Where the values come from, in words.
    """

    k1_m2: float
    k2_m2: float
    angle_deg: float
    porosity: float
    thickness_mm: float
    low: float = 1.0
    high: float = 1.0
    source: str = ""
    assumed: bool = False


@dataclass(frozen=True)
class Zone:
    """An area with its own stack; later zones lie over earlier ones."""

    name: str
    points_mm: FloatArray
    stack: PartStack


@dataclass(frozen=True)
class Gap:
    """An open channel along a line, such as an edge gap in which resin races ahead.

    Attributes
    ----------
    line_mm : ndarray of shape (P, 2)
    width_mm : float
    k_m2 : float
        Permeability of the channel; width^2 / 12 for an open slot.
    thickness_mm : float
    """

    line_mm: FloatArray
    width_mm: float
    k_m2: float
    thickness_mm: float


@dataclass(frozen=True)
class Place:
    """Where a feed or vent lies: a line, or a point with a radius.

    Attributes
    ----------
    points_mm : ndarray of shape (P, 2)
        One point, or the two or more points of a line.
    radius_mm : float
        For a point.
    """

    points_mm: FloatArray
    radius_mm: float = 0.0

    @property
    def is_line(self) -> bool:
        """Return whether it is a line and not a point."""
        return len(self.points_mm) > 1


@dataclass(frozen=True)
class PartFeed:
    """A feed line or point.

    Attributes
    ----------
    place : Place
    opens_at_s : float
        Seconds after the start; 0 for the first feeds.
    opens_when_wet : bool
        Opens when the front has passed the whole of it.
    resistance_mm : float
        The `a` of x^2 + 2 a x.
    """

    place: Place
    opens_at_s: float = 0.0
    opens_when_wet: bool = False
    resistance_mm: float = 0.0
    name: str = ""


@dataclass(frozen=True)
class Vent:
    """A vent; it is shut once the resin reaches all of it."""

    place: Place
    name: str = ""


@dataclass(frozen=True)
class Heights:
    """How high the part and its pot stand, from any one level.

    Attributes
    ----------
    pot_mm : float
        Of the resin in the pot.
    plane : tuple of (float, float, float)
        a, b, c of the part's height a x + b y + c, in mm.
    share_per_mm : float
        Share of the drive that lifts the resin by a millimetre.
    """

    pot_mm: float
    plane: tuple[float, float, float]
    share_per_mm: float = 0.0

    def above_pot_mm(self, points_mm: FloatArray) -> FloatArray:
        """Return how far points of the part, shape (N, 2), lie above the pot."""
        a, b, c = self.plane
        return np.asarray(points_mm @ (a, b) + c - self.pot_mm)

    @property
    def level(self) -> bool:
        """Whether the part lies level."""
        return self.plane[0] == 0 and self.plane[1] == 0


@dataclass(frozen=True)
class PartPlan:
    """All that decides how a part fills, but for resin and vacuum.

    Attributes
    ----------
    outline_mm : ndarray of shape (N, 2)
    holes_mm : tuple of ndarray
    stack : PartStack
        Where no zone lies.
    cells : int
        Along the longest side.
    y_runs : {"down", "up"}
        Which way y runs when the part is looked at from above; x runs right.
    heights : Heights or None
        None where pot and part are level.
    """

    outline_mm: FloatArray
    holes_mm: tuple[FloatArray, ...]
    stack: PartStack
    zones: tuple[Zone, ...] = ()
    gaps: tuple[Gap, ...] = ()
    feeds: tuple[PartFeed, ...] = ()
    vents: tuple[Vent, ...] = ()
    cells: int = 200
    name: str = "part"
    notes: tuple[str, ...] = field(default=())
    y_runs: str = "down"
    heights: Heights | None = None

    @property
    def slopes(self) -> bool:
        """Whether the part does not lie level."""
        return self.heights is not None and not self.heights.level

    @property
    def stacks(self) -> tuple[PartStack, ...]:
        """The base stack and those of the zones, in order."""
        return (self.stack, *(zone.stack for zone in self.zones))
