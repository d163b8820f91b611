"""How far what was seen lies from a filling, in parts of the time; and how sure a fit to it is.

Tested in tests/analysis/infusion/learn/test_fit_plan.py.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from analysis.infusion.learn.learnt import Unlike
from analysis.infusion.seen.on_plan import SeenOnPlan
from vision.records import BoolArray, FloatArray, IntArray

UNEVEN = 0.03
"""Usual scatter of a lay-up in the square root of the time of arrival, relative: what the plan
cannot know (common practice, no source); what the fit leaves over widens it."""
MODEL_SD = 0.015
"""Relative doubt of a filling's own times, from its grid and from what a plan leaves out."""
MOST_PLACES = 2500
"""Cells that have a say, evenly over the part."""
EARLIEST = 0.02
"""Share of the time watched before which arrival hangs on the feed's own shape."""
EARLIEST_SD = 6.0
"""Standard uncertainties of a time that it must be past as well: they bend the root of less."""
CLUSTERS = 8
"""Patches along the longer side within which what the plan does not know may go together."""
PER_CLUSTER = 2.0
"""Independent places that a patch is worth: uneven cloth goes together over centimetres
(judgement)."""
MOST_EVEN, FAR = 0.35, 3.0
"""A lay-up is held to be so much more even than usual at the most; places farther off count as so
many standard uncertainties."""
ODD_SHARE = 0.08
"""Relative difference in time from which a patch is told as unlike the filling."""
ODD_SD = 4.0


@dataclass(frozen=True)
class Places:
    """The cells that have a say; arrays of shape (P,).

    Attributes
    ----------
    cell : ndarray, int
    root_s : ndarray, float
        Square root of the time at which each wetted; of the last look where it was still dry.
    dry : ndarray, bool
        Whether it was still dry at the last look: it can only have come later.
    sd : ndarray, float
        Standard uncertainty of `root_s`, with a usual lay-up's scatter.
    cluster : ndarray, int
        Patch of the part that each lies in.
    weight : ndarray, float
        Places of one patch that say the same share the weight of `PER_CLUSTER`.
    """

    cell: IntArray
    root_s: FloatArray
    dry: BoolArray
    sd: FloatArray
    cluster: IntArray
    weight: FloatArray


def places_of(on: SeenOnPlan) -> Places:
    """Return the cells that have a say: seen, and not wetted in the first moments.

    Which those are is told by the cells around: by its own time, a cell that noise made late would
    be let in and its neighbour that noise made early left out.
    """
    first = np.maximum(EARLIEST * on.last_s, EARLIEST_SD * np.nan_to_num(on.sd_s))
    wet = on.seen & np.isfinite(on.time_s) & (_around(on) > first)
    dry = on.seen & np.isinf(on.time_s)
    cell = np.flatnonzero(wet | dry)
    cell = cell[:: max(1, len(cell) // MOST_PLACES)]
    time = np.where(dry[cell], on.last_s, on.time_s[cell])
    root = np.sqrt(np.maximum(time, 1e-9))
    own = np.nan_to_num(on.sd_s[cell]) / (2.0 * root)
    common = on.start_sd_s / (2.0 * root)
    sd = np.sqrt(own**2 + common**2 + (UNEVEN * root) ** 2)
    grid = on.links.grid
    size = max(grid.nx * grid.dx_mm, grid.ny * grid.dy_mm) / CLUSTERS
    x, y = on.links.centre_mm[cell].T
    patch = ((x - grid.x0_mm) // size).astype(int) + 4096 * ((y - grid.y0_mm) // size).astype(int)
    cluster = np.unique(patch, return_inverse=True)[1]
    alike = np.bincount(cluster, minlength=1)[cluster]
    return Places(cell, root, dry[cell], sd, cluster, np.minimum(1.0, PER_CLUSTER / alike))


def as_even(places: Places, left: FloatArray) -> Places:
    """Return the places with more weight where they lie nearer to a filling than usual.

    Parameters
    ----------
    places : Places
    left : ndarray of shape (P,)
        Residuals near the end of the search.
    """
    usual = float(np.sqrt(np.mean(np.minimum(left[~places.dry] ** 2, FAR**2))))
    return replace(places, weight=places.weight / float(np.clip(usual, MOST_EVEN, 1.0)) ** 2)


def _around(on: SeenOnPlan) -> FloatArray:
    """Return the median time of the 5 x 5 cells about each cell; what is dry is later than all."""
    field = on.links.field(np.nan_to_num(on.time_s, nan=np.inf))
    near = ndimage.distance_transform_edt(
        on.links.number < 0, return_distances=False, return_indices=True
    )
    smooth = ndimage.median_filter(np.minimum(field[tuple(near)], 1e12), 5, mode="nearest")
    return np.asarray(smooth[on.links.number >= 0])


def residuals(places: Places, arrival_s: FloatArray, most_s: float) -> FloatArray:
    """Return how much later than a filling each place wetted, in standard uncertainties.

    A place that is still dry has a say only where the filling had it wet by now.
    """
    root = np.sqrt(np.clip(arrival_s[places.cell], 0.0, most_s))
    late = (places.root_s - root) / places.sd
    return np.where(places.dry, np.maximum(late, 0.0), late)


def together(places: Places, on: SeenOnPlan) -> FloatArray:
    """Return errors that move all places at once, in standard uncertainties; shape (P, 3).

    One of resin start, one of the filling's own scale, one that grows on the way: grids and walls
    are only near the truth (`MODEL_SD`).
    """
    start = on.start_sd_s / (2.0 * places.root_s)
    scale = 0.5 * MODEL_SD * places.root_s
    growing = scale * places.root_s / float(places.root_s.max())
    return np.asarray(np.stack([start, scale, growing], axis=1) / places.sd[:, None])


def covariance(
    jacobian: FloatArray,
    left: FloatArray,
    prior: FloatArray,
    places: Places,
    common: FloatArray,
) -> FloatArray:
    """Return the covariance of a fit whose errors go together within patches.

    Parameters
    ----------
    jacobian : ndarray of shape (P, Q)
    left : ndarray of shape (P,)
        Residuals.
    prior : ndarray of shape (Q, Q)
        Information of the prior.
    places : Places
    common : ndarray of shape (P, R)
        Errors of one standard uncertainty that move all places at once.

    Notes
    -----
    Source: the sandwich over clusters of Liang and Zeger, Biometrika 73, 13-22, 1986 (from
    memory). It is taken no narrower than with all places of a patch counting as one.
    """
    cluster, weighed = places.cluster, jacobian * places.weight[:, None]
    bread = np.linalg.inv(jacobian.T @ weighed + prior)
    count = int(cluster.max()) + 1
    scores = np.zeros((count, jacobian.shape[1]))
    np.add.at(scores, cluster, weighed * left[:, None])
    lift = count / max(count - jacobian.shape[1], 1)
    meat = lift * scores.T @ scores
    sandwich = bread @ (meat + prior) @ bread
    # All that a patch holds says the same: its places count as one with the usual residual.
    size = np.bincount(cluster, minlength=count)[cluster]
    once = (jacobian / np.sqrt(size)[:, None]).T @ (jacobian / np.sqrt(size)[:, None])
    usual = float(np.mean(left**2))
    single = np.linalg.inv(once / max(usual, 1e-4) + prior)
    scale = np.sqrt(np.maximum(1.0, np.diag(single) / np.maximum(np.diag(sandwich), 1e-300)))
    moved = bread @ weighed.T @ common
    return np.asarray(sandwich * scale[:, None] * scale[None, :] + moved @ moved.T)


def unlike_places(
    on: SeenOnPlan, places: Places, arrival_s: FloatArray, left: FloatArray
) -> tuple[Unlike, ...]:
    """Return the patches in which the resin came clearly earlier or later than a filling says."""
    found = []
    per_cell = float(on.links.grid.cell_m2) * 1e6
    each = per_cell * max(1.0, float(on.seen.sum()) / max(len(places.cell), 1))
    for patch in range(int(places.cluster.max(initial=-1)) + 1):
        here = (places.cluster == patch) & ~(places.dry & (left <= 0))
        if here.sum() < 4:
            continue
        time = places.root_s[here] ** 2
        late = time - np.minimum(arrival_s[places.cell[here]], 1e12)
        share, sd = np.median(late / time), np.median(left[here])
        if abs(share) > ODD_SHARE and abs(sd) > ODD_SD * UNEVEN / 0.06:
            x, y = on.links.centre_mm[places.cell[here]].mean(axis=0)
            area = float(here.sum()) * each
            found.append(Unlike(float(x), float(y), area, float(np.median(late))))
    return tuple(sorted(found, key=lambda one: -abs(one.late_s)))
