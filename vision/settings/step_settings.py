"""What tells a fainter change that passed over the panel before the strong one.

Tested in tests/vision/wetting/test_earlier_step.py.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class EarlierStepSettings:
    """What `vision.wetting.earlier_step` is set by."""

    passing_frames: int = 5
    """Frames over whose median a change counts: what one or two show may be a hand."""

    least_side_frames: int = 3
    """Frames that must show the level before the step, and after it."""

    least_sigmas: float = 4.0
    """Least step, in standard deviations of a cell in one frame; over three frames and a quarter
    of the cells chance does not come near it."""

    sharpness: float = 0.7
    """Part of the step that must show within the three frames on either side of it, and those that
    a front takes to cross the cell: light drifts."""

    least_share: float = 0.25
    """Share of the cells with frames enough before the strong change that must show the step."""

    least_cells: int = 12
    """And their least number."""

    least_order: float = 0.95
    """Least rank correlation with the strong change. Shadows and people do not follow a front."""

    follow: str = "first"
    """Which of two changes is followed, as the user names it: ``"first"`` or ``"second"``."""
