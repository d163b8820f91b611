"""What spacing and search have to say, in time.

Tested in tests/analysis/commands/test_part.py.
"""

from __future__ import annotations

from dataclasses import dataclass

from vision.records import FloatArray


@dataclass(frozen=True)
class SpacingAdvice:
    """How far apart feed lines may be; see `analysis.part.search.spacing.Spacing`."""

    along: str
    plain_mm: float
    lines: int | None
    spacing_mm: float | None
    total: float | None
    time_s: float | None


@dataclass(frozen=True)
class FeedAdvice:
    """Where a layout of the search has a feed or a vent."""

    points_mm: FloatArray
    radius_mm: float


@dataclass(frozen=True)
class LayoutAdvice:
    """One layout of the search.

    Attributes
    ----------
    feeds, vents : tuple of FeedAdvice
    vents_moved : bool
        Whether the vents lie elsewhere than planned.
    fill_time_s : float
    fill_impulse : float
    last_spot_mm : tuple of (float, float)
    vent_lag : float
        How much later the last spot wets than the last vent, as a share of the total.
    trapped : int
        Areas that lose their vent; 0 where vents could be moved to where the air ends.
    """

    feeds: tuple[FeedAdvice, ...]
    vents: tuple[FeedAdvice, ...]
    vents_moved: bool
    fill_time_s: float
    fill_impulse: float
    last_spot_mm: tuple[float, float]
    vent_lag: float
    trapped: int


@dataclass(frozen=True)
class SearchAdvice:
    """The layouts found, the best first, and what was wished for."""

    layouts: tuple[LayoutAdvice, ...]
    wish: str
