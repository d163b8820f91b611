"""What lies ahead of a part in words, for the board and for the result."""

from __future__ import annotations

import math

from analysis.infusion.ahead.cut_offs import CutOff
from analysis.infusion.ahead.next_feed import AT_WORK, BY_PLAN, first_to_tell
from analysis.infusion.ahead.not_seen import NotSeen
from analysis.infusion.ahead.time_left import TimeLeft
from analysis.infusion.outlook.numbers import PartNumbers
from analysis.part.answer.text import Row
from vision.common.rounding import minutes, rounded


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


def not_seen_text(cloth: NotSeen) -> str:
    """Write how much cloth behind the front was not seen, and where.

    Examples
    --------
    >>> not_seen_text(NotSeen(3400.0, 300.0, 120.0))
    '34 cm2 behind the front, at x 300, y 120 mm: taken as wet; look under what lies there'
    """
    return (
        f"{cloth.area_mm2 / 100:.0f} cm2 behind the front, at x {cloth.x_mm:.0f}, "
        f"y {cloth.y_mm:.0f} mm: taken as wet; look under what lies there"
    )


def ahead_rows(numbers: PartNumbers) -> list[Row]:
    """Return what was still to come at the last photo of a part that is not full, row by row.

    When it is full is told here only where the plan could not be corrected: else that stands
    beside what was learnt.
    """
    if numbers.left is None or numbers.left.filled:
        return []
    out = [] if numbers.learnt else [Row("Full", _until(numbers.left))]
    out += [Row("Feed", feed.text) for feed in numbers.feeds if feed.state in (AT_WORK, BY_PLAN)]
    still = [feed for feed in numbers.feeds if feed.state not in (AT_WORK, BY_PLAN)]
    out += [Row("Next feed", feed.text) for feed in first_to_tell(still, numbers.last_s)]
    return out + [
        Row("Shut-in air", f"{cut_off_text(cut)}, counted from the last photo")
        for cut in numbers.cut_offs
    ]


def _until(left: TimeLeft) -> str:
    if not math.isfinite(left.end_s):
        return "by the plan alone some of it is never reached"
    low, high = minutes(left.low_s, "down"), minutes(left.high_s, "up")
    return f"by the plan alone, at the pace so far, full at {minutes(left.end_s)} ({low} to {high})"
