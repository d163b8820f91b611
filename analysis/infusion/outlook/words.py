"""What lies ahead of a part in words, for the board and for the result."""

from __future__ import annotations

from analysis.infusion.ahead.cut_offs import CutOff
from vision.common.rounding import rounded


def where_text(cut: CutOff) -> str:
    """Write how large an area is and where its air ends.

    The place is in the plan's own coordinates.
    """
    return f"{cut.area_mm2 / 100:.0f} cm2, its air ends at x {cut.x_mm:.0f}, y {cut.y_mm:.0f} mm"


def left_text(cut: CutOff) -> str:
    """Write in how many minutes an area is cut off, rounded to the early side."""
    low, high = rounded(cut.low_min, 1, "down"), rounded(cut.high_min, 1, "up")
    return f"{rounded(cut.minutes_left, 1, 'down')} min ({low} to {high})"


def cut_off_text(cut: CutOff) -> str:
    """Write that an area is, will be or may be cut off, when, and where."""
    will = "may be cut off" if not cut.likely else "cut off" if cut.closed else "will be cut off"
    when = "already" if cut.closed else f"in {left_text(cut)}"
    hidden = "; most of it hidden" if cut.hidden else ""
    return f"{will} {when}: {where_text(cut)}{hidden}"
