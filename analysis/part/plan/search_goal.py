"""What a search for a better plan is asked for: the [search] table.

Tested in tests/analysis/part/plan/test_part_toml.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.part.plan import outline as part_outline
from analysis.part.plan.outline import inside
from vision.common.toml_table import Table
from vision.records import FloatArray

WISHES = ("fastest", "vents last")
VENT_WAYS = ("move", "fixed")
SEARCH_FIELDS = (
    "feeds",
    "kind",
    "radius_mm",
    "allowed_mm",
    "wish",
    "target_min",
    "keep",
    "vents",
)


@dataclass(frozen=True)
class SearchGoal:
    """What to search for.

    Attributes
    ----------
    wanted : bool
        Whether a [search] table was there at all.
    feeds : int
        How many feeds to place, 1 to 3.
    kind : {"point", "line"}
    radius_mm : float
        Of a point feed.
    allowed_mm : tuple of ndarray
        Areas in which a feed may lie; the whole part where empty.
    wish : {"fastest", "vents last"}
    target_s : float or None
        Fill time to come near to, instead of the least.
    keep : int
        Layouts to show.
    vents : {"move", "fixed"}
        Whether vents may be moved to where the air of a layout ends.
    """

    wanted: bool = False
    feeds: int = 1
    kind: str = "line"
    radius_mm: float = 5.0
    allowed_mm: tuple[FloatArray, ...] = ()
    wish: str = "fastest"
    target_s: float | None = None
    keep: int = 5
    vents: str = "move"


def read_goal(table: Table, outline_mm: FloatArray) -> SearchGoal:
    """Read [search].

    Raises
    ------
    WetlineError
        If a value cannot be, or no allowed area touches the part.
    """
    if not table.values:
        return SearchGoal()
    table.refuse_unknown(SEARCH_FIELDS)
    feeds = table.number("feeds", 1, at_least=1, at_most=3)
    keep = table.number("keep", 5, at_least=1, at_most=20)
    for key, value in (("feeds", feeds), ("keep", keep)):
        if value != int(value or 0):
            raise table.bad(key, "must be a whole number")
    target = table.number("target_min", above=0, unit="minutes")
    radius = table.length("radius_mm", 5.0, above=0, at_most=200)
    areas = []
    value = table.values.get("allowed_mm", [])
    if not isinstance(value, list):
        raise table.bad("allowed_mm", "must be a list of areas, each a list of [x, y] corners")
    for item in value:
        points = Table(table.file, table.name, {"allowed_mm": item}).points("allowed_mm") or []
        area = part_outline.tidy(np.array(points))
        if len(area) < 3:
            raise table.bad("allowed_mm", "each area needs three or more corners")
        reach = inside(area, outline_mm).any() or inside(outline_mm, area).any()
        if not reach and part_outline.crossing(area, outline_mm) is None:
            raise table.bad("allowed_mm", "an area lies wholly off the part: mend its corners")
        areas.append(area)
    return SearchGoal(
        wanted=True,
        feeds=int(feeds or 1),
        kind=str(table.text("kind", "line", choices=("line", "point"))),
        radius_mm=float(radius or 5.0),
        allowed_mm=tuple(areas),
        wish=str(table.text("wish", "fastest", choices=WISHES)),
        target_s=None if target is None else target * 60.0,
        keep=int(keep or 5),
        vents=str(table.text("vents", "move", choices=VENT_WAYS)),
    )
