"""Which dry areas are about to be cut off from every vent, when, and how sure that is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.sparse as sparse
from scipy.sparse.csgraph import connected_components

from analysis.infusion.ahead.front_ahead import Ahead
from analysis.part.flow.trapped import TrappedAir, find_trapped
from analysis.part.grid.canvas import lies_on
from analysis.part.plan.plan import PartPlan
from vision.records import BoolArray, FloatArray

LEAST_SHARE = 5e-3
"""A smaller share of the part that is cut off is left out, and so is one of fewer cells than
`LEAST_CELLS`: the front is not seen so well. Common practice, no source."""
LEAST_CELLS = 8
SURE_SHARE, SURE_HELD = 0.02, 0.8
"""One that is still to come is likely when it is of this share of the part and is cut off in this
share of the cases; a front that runs unlike its forecast leaves smaller ones by chance."""
SAME = 0.3
"""Two areas are the same one when they share this much of the smaller."""
LEAST_HELD = 0.4
"""An area that only unlikely cases cut off is named when it is so in this share of all cases."""
HIDDEN = 0.5
"""An area of which a larger share was not seen itself is said to be hidden."""


@dataclass(frozen=True)
class CutOff:
    """A dry area that resin will close in, so that its air can reach no vent.

    Attributes
    ----------
    x_mm, y_mm : float
        Where its air ends: a vent there lets it out.
    area_mm2 : float
        As it is cut off; of one that is closed already, what is still dry.
    closes_s, low_s, high_s : float
        When, in seconds since resin start, and the interval.
    minutes_left, low_min, high_min : float
        From the last look; 0 where it is closed already.
    closed : bool
        Whether it is cut off already.
    likely : bool
        False where it is small, or where hardly any but a front that is unlike the forecast
        somewhere cuts it off, or most of it was not seen and ought to be wet: it may happen.
    held : float
        Share of the cases looked at in which it happens.
    hidden : bool
        Whether most of it was not seen itself.
    cells : ndarray of shape (n,), bool
        The area.
    """

    x_mm: float
    y_mm: float
    area_mm2: float
    closes_s: float
    low_s: float
    high_s: float
    minutes_left: float
    low_min: float
    high_min: float
    closed: bool
    likely: bool
    held: float
    hidden: bool
    cells: BoolArray


def find_cut_offs(
    plan: PartPlan,
    ahead: Ahead,
    doubt: float = 0.15,
    open_vents: Sequence[bool] | None = None,
    learnt: bool = True,
) -> tuple[CutOff, ...]:
    """Find the dry areas that will lose their last vent.

    Parameters
    ----------
    plan : PartPlan
        Its vents count. A vent is open until resin has reached all of it.
    ahead : Ahead
    doubt : float
        Relative half-width of the interval of the time still to come.
    open_vents : sequence of bool, optional
        Vents that were clamped by hand are False; by default all are open.
    learnt : bool
        Whether the forecast was corrected by what was seen. From the plan's own forecast what is
        still to come is only named as something that may happen: a plan with a wrong gap cuts off
        areas that the run does not.

    Returns
    -------
    tuple of CutOff
        Those likely first, and of those the one that closes first.

    Notes
    -----
    The dry areas of the arrival that joins seen and forecast are followed as they part
    (`analysis.part.flow.trapped`). That is done for the likely case, and with the time to come
    stretched on one side of the part and shortened on the other, for each of four sides.
    """
    stays = [True] * len(plan.vents) if open_vents is None else list(open_vents)
    vents = [
        lies_on(ahead.links, vent.place)
        for vent, stays_open in zip(plan.vents, stays, strict=True)
        if stays_open
    ]
    likely = _areas(ahead, ahead.time_s, vents)
    cases = [_areas(ahead, ahead.at_pace(tilt), vents) for tilt in _tilts(ahead, doubt)]
    found = [_judged(ahead, cut, cases, doubt, True, learnt) for cut in likely]
    near: list[CutOff] = []
    for case in cases:
        for cut in case:
            if not any(_same(ahead, cut, other) for other in (*found, *near)):
                near.append(_judged(ahead, cut, cases, doubt, False, learnt))
    near = [cut for cut in (*found, *near) if cut.likely or cut.held >= LEAST_HELD]
    return tuple(sorted(near, key=lambda cut: (not cut.likely, cut.closes_s)))


def _tilts(ahead: Ahead, doubt: float) -> list[FloatArray]:
    """Return factors on the time to come that rise across the part, in four directions."""
    centre = ahead.links.centre_mm
    low, high = centre.min(axis=0), centre.max(axis=0)
    across = 2.0 * (centre - low) / np.maximum(high - low, 1e-9) - 1.0
    return [np.exp(sign * doubt * across[:, axis]) for axis in (0, 1) for sign in (1.0, -1.0)]


def _areas(ahead: Ahead, time_s: FloatArray, vents: Sequence[BoolArray]) -> list[CutOff]:
    """Find the areas of one case that matter and are not wet yet."""
    trapped, _ = find_trapped(ahead.links, time_s, vents)
    least = max(LEAST_SHARE * float(ahead.links.share.sum()), float(LEAST_CELLS))
    out = []
    for air in trapped:
        cells = _cells_of(ahead, time_s, air) & ahead.dry
        share = float(ahead.links.share[cells].sum())
        if share < least:
            continue
        closed = air.impulse <= ahead.last_s
        left = 0.0 if closed else (air.impulse - ahead.last_s) / 60.0
        hidden = float(ahead.seen[cells].mean()) < 1.0 - HIDDEN
        area = share * ahead.links.grid.cell_m2 * 1e6
        when = float(air.impulse)
        out.append(
            CutOff(air.x_mm, air.y_mm, area, when, when, when, left, left, left, closed, True, 1.0,
                   hidden, cells)
        )  # fmt: skip
    return out


def _cells_of(ahead: Ahead, time_s: FloatArray, air: TrappedAir) -> BoolArray:
    """Return the cells that hang together with where air ends, dry just after it is cut off."""
    links = ahead.links
    dry = time_s > max(air.impulse, 0.0)
    keep = dry[links.first] & dry[links.second] & (links.flow_m3 != 0)
    first, second = links.first[keep], links.second[keep]
    pairs = sparse.coo_matrix((np.ones(len(first)), (first, second)), (links.count,) * 2)
    _, label = connected_components(pairs, directed=False)
    out = np.zeros(links.count, bool)
    for end in air.ends_mm:
        cell = int(np.argmin(np.hypot(*(links.centre_mm[: links.cells] - end).T)))
        if dry[cell]:
            out |= label == label[cell]
    return out


def _same(ahead: Ahead, one: CutOff, other: CutOff) -> bool:
    """Whether two areas are the same one."""
    share = ahead.links.share
    both = float(share[one.cells & other.cells].sum())
    least = min(float(share[one.cells].sum()), float(share[other.cells].sum()))
    return both >= SAME * least > 0


def _judged(
    ahead: Ahead,
    cut: CutOff,
    cases: Sequence[Sequence[CutOff]],
    doubt: float,
    likely: bool,
    learnt: bool,
) -> CutOff:
    """Return an area with its interval from the cases in which it is cut off."""
    again = [next((c for c in case if _same(ahead, cut, c)), None) for case in cases]
    when = [cut.closes_s, *(c.closes_s for c in again if c is not None)]
    left = np.maximum(np.array(when) - ahead.last_s, 0.0)
    low = ahead.last_s + float(left.min() * np.exp(-doubt))
    high = ahead.last_s + float(left.max() * np.exp(doubt))
    if cut.closed:
        low = high = cut.closes_s
    held = (sum(c is not None for c in again) + likely) / (len(cases) + 1)
    part = float(ahead.links.share.sum())
    large = float(ahead.links.share[cut.cells].sum()) >= SURE_SHARE * part
    unseen = float(ahead.doubtful[cut.cells].mean()) > HIDDEN
    sure = not unseen and (cut.closed or (learnt and large and held >= SURE_HELD))
    return replace(
        cut,
        low_s=low,
        high_s=high,
        low_min=max(0.0, low - ahead.last_s) / 60.0,
        high_min=max(0.0, high - ahead.last_s) / 60.0,
        likely=likely and sure,
        held=held,
    )
