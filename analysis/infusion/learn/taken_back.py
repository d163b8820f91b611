"""What is taken back of a fit where the plan's own filling does not explain what was seen.

A gap that is not in the plan, a feed that is shut, bridging: the fit then bends the values that it
has until they come as near as they can. Such values are calm and wrong, so they are not told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from analysis.infusion.learn.learnt import LearntValue, Unlike
from analysis.infusion.seen.on_plan import SeenOnPlan
from analysis.infusion.seen.turned import Lies
from analysis.part.grid.canvas import points_on
from analysis.part.plan.plan import PartPlan
from vision.common.rounding import scientific
from vision.records import IntArray

MOST_UNLIKE = 0.10
"""Share of what was seen that may be unlike the fitted filling before all values are in question:
an edge strip in which resin races reaches about so far into a part (judgement)."""
ZONE_UNLIKE = 0.02
"""Share of what was seen of a zone that may be unlike before its K is in question: so little, held
to three standard uncertainties by the bounded loss, moves K by less than 1 % (judgement)."""
NEAR = 1.0
"""A gap or feed is in question where an unlike place begins this many of its own sizes away."""


def unlike_share(unlike: Sequence[Unlike], on: SeenOnPlan) -> float:
    """Return the share of what was seen that is unlike the fitted filling, at most 1."""
    cell_mm2 = float(on.links.grid.cell_m2) * 1e6
    wet_mm2 = float(np.count_nonzero(on.seen & on.wet)) * cell_mm2
    return min(1.0, sum(place.area_mm2 for place in unlike) / max(wet_mm2, cell_mm2))


def too_unlike(unlike: Sequence[Unlike], on: SeenOnPlan) -> bool:
    """Return whether so much of what was seen is unlike that nothing fitted is relied on."""
    return unlike_share(unlike, on) > MOST_UNLIKE


def taken_back(
    plan: PartPlan,
    values: Sequence[LearntValue],
    unlike: Sequence[Unlike],
    on: SeenOnPlan,
    stack: IntArray,
) -> tuple[LearntValue, ...]:
    """Return the values, those in question no longer told.

    Parameters
    ----------
    plan : PartPlan
        As it was.
    values : sequence of LearntValue
        Zones, gaps, feeds, in the plan's order.
    unlike : sequence of Unlike
        The worst first.
    on : SeenOnPlan
    stack : ndarray of shape (cells,), int
        Which stack of the plan each cell has.

    Returns
    -------
    tuple of LearntValue
        All in question where more than `MOST_UNLIKE` of what was seen is unlike; otherwise the
        zones of which more than `ZONE_UNLIKE` is, and the gaps and feeds beside such a place.
    """
    if not unlike:
        return tuple(values)
    everywhere = too_unlike(unlike, on)
    held = _stacks_at(stack, unlike, on)
    lines = [
        *([None] * len(plan.stacks)),
        *(gap.line_mm for gap in plan.gaps),
        *(feed.place.points_mm for feed in plan.feeds),
    ]
    worst = unlike[0]
    why = (
        "the plan's own filling does not explain what was seen at "
        f"x {worst.x_mm:.0f}, y {worst.y_mm:.0f} mm"
    )
    out = []
    for i, (value, line) in enumerate(zip(values, lines, strict=True)):
        odd = i in held if line is None else _beside(line, unlike, on)
        out.append(_not_told(value, why) if value.told and (everywhere or odd) else value)
    return tuple(out)


def wider(
    full_s: float, low_s: float, high_s: float, unlike: Sequence[Unlike], on: SeenOnPlan
) -> tuple[float, float, float]:
    """Return a fill time whose interval holds what is not explained as well.

    Where more than `MOST_UNLIKE` is unlike, what makes it so may hold for the rest too: the
    forecast may be off by as much as the worst of it was, in proportion.
    """
    if on.wet.all() or not too_unlike(unlike, on):
        return full_s, low_s, high_s
    worst = max(abs(place.late_s) for place in unlike) / max(on.last_s, 1e-9)
    factor = 1.0 + min(worst, 1.0)
    rest = max(full_s - on.last_s, 0.0)
    return full_s, max(on.last_s, min(low_s, on.last_s + rest / factor)), high_s * factor


def unlike_note(unlike: Sequence[Unlike], on: SeenOnPlan) -> tuple[str, ...]:
    """Return what to look for where much of what was seen is unlike; nothing where little is."""
    if not too_unlike(unlike, on):
        return ()
    share = unlike_share(unlike, on)
    return (
        f"the plan's own filling does not explain {100 * share:.0f} % of what was seen, whatever "
        "its values: look for a gap that is not in the plan, a feed that is shut or lies "
        "elsewhere, bridging or a leak; the forecast is not to be relied on until that is found",
    )


def _not_told(value: LearntValue, why: str) -> LearntValue:
    """Return a value as planned, as open as it was about the fitted and about the planned."""
    ratio = value.planned / value.value if value.value > 0 else 1.0
    low = min(value.low, value.low * ratio, value.planned)
    high = max(value.high, value.high * ratio, value.planned)
    return replace(value, value=value.planned, low=low, high=high, told=False, why=why)


def _stacks_at(stack: IntArray, unlike: Sequence[Unlike], on: SeenOnPlan) -> set[int]:
    """Return of which stacks more than a little of what was seen is unlike."""
    tree = cKDTree(on.links.centre_mm[: on.links.cells])
    near = tree.query([(place.x_mm, place.y_mm) for place in unlike])[1]
    area_mm2 = np.array([place.area_mm2 for place in unlike])
    odd_mm2 = np.bincount(stack[near], area_mm2, int(stack.max()) + 1)
    cell_mm2 = float(on.links.grid.cell_m2) * 1e6
    seen_mm2 = np.bincount(stack, on.seen & on.wet, len(odd_mm2)) * cell_mm2
    return set(np.flatnonzero(odd_mm2 > ZONE_UNLIKE * seen_mm2).tolist())


def _beside(line_mm: np.ndarray, unlike: Sequence[Unlike], on: SeenOnPlan) -> bool:
    """Return whether an unlike place begins beside a line or point."""
    points = points_on(on.links, line_mm) if len(line_mm) > 1 else line_mm
    away = cKDTree(points).query([(place.x_mm, place.y_mm) for place in unlike])[0]
    size = np.sqrt([place.area_mm2 for place in unlike])
    return bool((away <= (NEAR + 0.5) * size).any())


LIKE_TURNED = 0.3
"""How near, in logarithms, a learnt factor must lie to that of cloth turned by a quarter."""


def turned_taken_back(
    plan: PartPlan, values: Sequence[LearntValue], lies: Sequence[Lies]
) -> tuple[LearntValue, ...]:
    """Return the values; K of a zone whose cloth lies or may lie turned by a quarter is not told.

    Parameters
    ----------
    plan : PartPlan
        As it was.
    values : sequence of LearntValue
        Zones first, in the plan's order.
    lies : sequence of {"as planned", "turned", "not told"}
        For each stack.

    Notes
    -----
    The fit knows one factor for each zone: where resin runs along one axis of it only, cloth turned
    looks like a K off by k2 over k1 (or k1 over k2), so both readings are given.
    """
    out = list(values)
    for k, (stack, how) in enumerate(zip(plan.stacks, lies, strict=True)):
        value = values[k]
        if not value.told or how == "as planned":
            continue
        if how == "turned":
            why = (
                "K along and across look exchanged: its cloth lies turned by a quarter, or its two "
                "values are swapped in part.toml"
            )
            out[k] = _not_told(value, why)
            continue
        off = float(np.log(value.value / value.planned))
        across = abs(float(np.log(stack.k1_m2 / stack.k2_m2)))
        if abs(off) > 0.5 * across and abs(abs(off) - across) < LIKE_TURNED:
            other = value.value * float(np.exp(-np.sign(off) * across))
            why = (
                f"its cloth may lie turned by a quarter: K1 {scientific(other)} m2 if it does, "
                f"{scientific(value.value)} m2 if it lies as planned; look which way it lies"
            )
            out[k] = _not_told(value, why)
    return tuple(out)
