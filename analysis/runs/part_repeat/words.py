"""Places outside the band, in words.

Tested in tests/analysis/runs/part_repeat/test_part_repeat.py.
"""

from __future__ import annotations

from analysis.runs.part_repeat.places import OddPlace, PlacesJudged
from vision.common.rounding import lapse

LATE_CAUSES = (
    "a layer too many or cloth packed tighter, a feed that opened late or is pinched, flow media "
    "that ends too early, a hose or clamp that presses on the bag"
)
EARLY_CAUSES = (
    "a gap along an edge or insert in which resin races, a bag that bridges a corner, a layer "
    "missing, a feed that opened early"
)
"""What usually does it: common practice, no source."""


def places_head(found: PlacesJudged) -> str:
    """Return the largest place outside the band, and how many more there are."""
    one, more = found.odd[0], len(found.odd) - 1
    word = "late" if one.late_s > 0 else "early"
    rest = f", and {more} more {'place' if more == 1 else 'places'}" if more else ""
    return f"{word} {one.where}{rest}"


def place_lines(found: PlacesJudged) -> tuple[str, ...]:
    """Return what was found place by place, against the good runs at the run's own pace."""
    seen = f"{100 * found.share:.0f} % of the part could be compared place by place"
    if not found.odd:
        what = "no place is outside the band of the good runs" if found.share else "nothing"
        return (f"{seen}: {what}",)
    return (seen, *(_line(number, one) for number, one in enumerate(found.odd, 1)))


def _line(number: int, one: OddPlace) -> str:
    late = one.late_s > 0
    least = "at least " if one.at_least else ""
    size = f"{one.area_mm2 / 100:.0f} cm², x {one.x_mm:.0f}, y {one.y_mm:.0f} mm"
    begins = "" if one.begins == one.where else f"; it begins {one.begins}"
    causes = LATE_CAUSES if late else EARLY_CAUSES
    return (
        f"Place {number}, {one.where} ({size}): {least}{lapse(one.late_s)} "
        f"{'late' if late else 'early'} against the good runs at this run's pace, {one.ratio:.2f} "
        f"times as long{begins}. What usually does that (common practice): {causes}"
    )
