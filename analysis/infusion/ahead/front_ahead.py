"""Arrival over the whole part: as seen behind the front, forecast ahead, meeting at the front."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage
from scipy.ndimage import median_filter

from analysis.infusion.seen.on_plan import SeenOnPlan
from analysis.part.grid.network import Links
from vision.records import BoolArray, FloatArray

LEAST_STEP = 1e-9
"""Share of the time by which what is dry wets after the last look at the earliest."""
MOST_PACE = 20.0
"""The front is taken to be at most so many times quicker or slower than forecast."""
PACE_AT = 0.9
MOST_ROUNDS = 4000
LATE, AROUND = 0.95, 7
"""Past this share of the forecast's time the slope is that of so many cells around, if greater."""
NARROW_MM = 30.0
"""Cloth that was not seen, no farther than so from what was, and with wet cloth all round it, is
wet: a hose or a tape lies there. Common practice, no source."""
BESIDE = np.ones((3, 3), bool)


@dataclass(frozen=True)
class Ahead:
    """Arrival of a part that is still filling; arrays of shape (n,), channels after the cells.

    Attributes
    ----------
    links : Links
    time_s : ndarray, float
        Seconds since resin start: as seen where wet, forecast where dry; infinity where the
        forecast never comes.
    dry : ndarray, bool
        Cells that were dry when last seen, or that no picture holds and the forecast has dry.
    seen : ndarray, bool
        Cells that were seen themselves, not filled from around them.
    doubtful : ndarray, bool
        Dry cells that were not seen themselves and that the forecast has wet by now.
    under : ndarray, bool
        Cells that nobody saw wet and that are taken as wet, as the front went past around them.
    last_s : float
        Time of the last look.
    """

    links: Links
    time_s: FloatArray
    dry: BoolArray
    seen: BoolArray
    doubtful: BoolArray
    under: BoolArray
    last_s: float

    @property
    def dry_share(self) -> float:
        """Share of the part's area that is dry."""
        return float(self.links.share[self.dry].sum() / self.links.share.sum())

    def at_pace(self, factor: FloatArray | float) -> FloatArray:
        """Return the arrival with the time still to come stretched, shape (n,).

        Parameters
        ----------
        factor : ndarray of shape (n,) or float
            On the seconds from the last look; above 1 is later.
        """
        late = self.last_s + (self.time_s - self.last_s) * factor
        return np.where(self.dry, late, self.time_s)


def look_ahead(on: SeenOnPlan, arrival_s: FloatArray) -> Ahead:
    """Join what was seen to what is forecast.

    Parameters
    ----------
    on : SeenOnPlan
    arrival_s : ndarray of shape (cells,) or (n,)
        Forecast seconds since resin start, from the plan or as learnt; infinity for never.

    Returns
    -------
    Ahead

    Raises
    ------
    ValueError
        If the forecast is for another grid.

    Notes
    -----
    From the front as seen the rest wets outwards, each place as slowly as the forecast wets it:
    ``|grad T| = pace |grad forecast|``, by upwind differences (Rouy and Tourin, SIAM J. Numer.
    Anal. 29, 867-884, 1992, from memory). A front that runs as forecast gives the forecast back;
    one that does not is carried on from where it is, and nothing wets ahead of it. `pace` is the
    time at which so much was wet over the time at which the forecast has as much wet. A feed that
    opens later starts a front of its own where and when the forecast has it.

    Cloth that was not seen and never showed wet is carried over in the same way from the wet cloth
    beside it, where that is nearer than cloth seen dry: what lies under a hose behind the front is
    no dry area.
    """
    links = on.links
    if len(arrival_s) not in (links.cells, links.count):
        raise ValueError(f"arrival_s must have {links.cells} values, got {len(arrival_s)}")
    forecast = np.asarray(arrival_s, float)[: links.cells]
    wet = np.isfinite(on.time_s)
    pace = _pace(links.share[: links.cells], forecast, on.time_s, on.last_s)
    unknown = np.isnan(on.time_s)
    wet_too = wet | (unknown & (pace * forecast <= on.last_s))
    time_s = np.where(wet, on.time_s, pace * forecast)
    time_s[~wet_too] = np.inf
    hidden = _under(on, time_s, pace * forecast)
    under = np.isfinite(hidden) & ~wet_too
    time_s, wet_too = np.where(under, hidden, time_s), wet_too | under
    ahead = _outwards(links, time_s, pace * forecast, on.last_s)
    time_s = np.where(wet_too, time_s, ahead)
    channel = np.zeros(links.count - links.cells, bool)
    doubtful = ~wet_too & ~on.seen & (pace * forecast <= on.last_s)
    return Ahead(
        links,
        _with_channels(links, time_s),
        np.append(~wet_too, channel),
        np.append(on.seen, channel),
        np.append(doubtful, channel),
        np.append(under, channel),
        float(on.last_s),
    )


def _pace(share: FloatArray, forecast: FloatArray, time_s: FloatArray, last_s: float) -> float:
    """Return how many times longer the run takes than forecast, from what is wet by now.

    Read where nine tenths of what is wet by now were wet; and at least so much that the forecast,
    too, has nothing more wet by now, so that a front which stands still slows it.
    """
    known = np.isfinite(forecast) & ~np.isnan(time_s)
    wet = known & np.isfinite(time_s)
    wetted = float(share[wet].sum())
    order = np.argsort(forecast[known])
    planned, sums = forecast[known][order], np.cumsum(share[known][order])
    if not wetted or wetted >= sums[-1]:
        return 1.0
    then = _time_at(planned, sums, PACE_AT * wetted)
    seen = np.argsort(time_s[wet])
    now = _time_at(time_s[wet][seen], np.cumsum(share[wet][seen]), PACE_AT * wetted)
    last = int(np.searchsorted(sums, wetted * (1 - 1e-9)))
    later = planned[min(last + 1, len(planned) - 1)]
    pace = np.clip(now / max(then, 1e-9), last_s / max(later, 1e-9), None)
    return float(np.clip(pace, 1.0 / MOST_PACE, MOST_PACE))


def _time_at(time_s: FloatArray, sums: FloatArray, share: float) -> float:
    """Return the time by which a share was wet."""
    return float(time_s[min(int(np.searchsorted(sums, share)), len(time_s) - 1)])


def _outwards(links: Links, time_s: FloatArray, forecast: FloatArray, last_s: float) -> FloatArray:
    """Carry the front outwards into what is infinite in `time_s`."""
    grid = links.grid
    steps = np.array([grid.dx_mm, grid.dy_mm])
    planned = links.field(np.where(np.isfinite(forecast), forecast, np.inf), np.inf)
    slow = _slowness(planned, steps)
    inside = links.number >= 0
    state = links.field(time_s, np.inf)
    wet = np.isfinite(state)
    # A front cell wetted up to half a cell's time ago; one that stands still starts from now.
    back = 0.5 * np.minimum(np.nan_to_num(slow, posinf=0.0) * float(steps.mean()), last_s)
    state = np.where(wet, np.maximum(state, last_s - back), state)
    opens = inside & ~wet & (slow == 0) & np.isfinite(planned) & (planned > last_s)
    state = np.where(opens, np.maximum(planned, last_s), state)
    open_ = inside & ~wet & ~opens & np.isfinite(slow)
    state = _carried(state, slow, open_, steps)
    floor = last_s + LEAST_STEP * (1.0 + last_s)
    return np.asarray(np.maximum(state[inside], floor))


def _carried(
    state: FloatArray, slow: FloatArray, open_: BoolArray, steps: FloatArray
) -> FloatArray:
    """Return the arrival once it is carried on into the open cells."""
    slow = np.where(open_, slow, 0.0)
    for _ in range(MOST_ROUNDS):
        fresh = np.where(open_, np.minimum(state, _upwind(state, slow, steps)), state)
        if np.array_equal(fresh, state):
            break
        state = fresh
    return state


def _under(on: SeenOnPlan, time_s: FloatArray, forecast: FloatArray) -> FloatArray:
    """Return when cloth that nobody saw wetted, by what wetted around it; infinity where dry."""
    links = on.links
    inside = links.number >= 0
    steps = np.array([links.grid.dx_mm, links.grid.dy_mm])
    state = links.field(time_s, np.inf)
    known = links.field((on.seen | np.isfinite(time_s)).astype(float), 0.0) > 0
    open_ = inside & ~known
    if not open_.any() or not known.any():
        return np.full(links.cells, np.inf)
    away, near = ndimage.distance_transform_edt(~known, sampling=steps[::-1], return_indices=True)
    beside_wet = open_ & np.isfinite(state[tuple(near)])
    slow = _slowness(links.field(np.where(np.isfinite(forecast), forecast, np.inf), np.inf), steps)
    found = _carried(state, slow, beside_wet & np.isfinite(slow), steps)
    found = np.where(open_ & (found <= on.last_s), found, np.inf)
    # Where the front has come out on every side it has gone through below as well.
    name = ndimage.label(open_ & np.isinf(found), BESIDE)[0]
    for k, box in enumerate(ndimage.find_objects(name), start=1):
        wide = tuple(slice(max(side.start - 1, 0), side.stop + 1) for side in box)
        here = name[wide] == k
        ring = ndimage.binary_dilation(here, BESIDE) & ~here & inside[wide]
        times = np.minimum(state[wide], found[wide])[ring]
        if len(times) and np.isfinite(times).all() and away[wide][here].max() <= NARROW_MM:
            found[wide][here] = times.max()
    return np.asarray(np.where(open_, found, np.inf)[inside])


def _beside(values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the lesser of the two neighbours of each cell along x and along y."""
    wide = np.pad(values, 1, constant_values=np.inf)
    along_x = np.minimum(wide[1:-1, :-2], wide[1:-1, 2:])
    return along_x, np.minimum(wide[:-2, 1:-1], wide[2:, 1:-1])


def _slowness(planned: FloatArray, steps: FloatArray) -> FloatArray:
    """Return seconds per mm of a forecast; 0 where a front begins, infinity where never."""
    with np.errstate(invalid="ignore"):
        rise = [np.maximum(planned - near, 0.0) for near in _beside(planned)]
        rise = [np.where(np.isfinite(r), r, 0.0) / h for r, h in zip(rise, steps, strict=True)]
    there = np.isfinite(planned)
    slow = np.where(there, np.hypot(*rise), np.inf)
    # The last cells of a filling are all put at its end: their own slope says nothing.
    last = there & (planned >= LATE * np.max(planned, initial=0.0, where=there))
    usual = median_filter(np.where(there, slow, 0.0), AROUND)
    return np.where(last, np.maximum(slow, usual), slow)


def _upwind(state: FloatArray, slow: FloatArray, steps: FloatArray) -> FloatArray:
    """Return the arrival in each cell from its neighbours' (Rouy and Tourin)."""
    along_x, along_y = _beside(state)
    hx, hy = steps
    alone = np.minimum(along_x + slow * hx, along_y + slow * hy)
    with np.errstate(invalid="ignore"):
        wx, wy = 1.0 / hx**2, 1.0 / hy**2
        mean = (wx * along_x + wy * along_y) / (wx + wy)
        room = slow**2 / (wx + wy) - wx * wy * ((along_x - along_y) / (wx + wy)) ** 2
        both = mean + np.sqrt(np.maximum(room, 0.0))
    good = (room >= 0) & (both >= np.maximum(along_x, along_y))
    return np.where(good, both, alone)


def _with_channels(links: Links, time_s: FloatArray) -> FloatArray:
    """Add the channels' nodes: an open channel is wet as soon as a cell beside it is."""
    out = np.concatenate([time_s, np.full(links.count - links.cells, np.inf)])
    for a, b in ((links.first, links.second), (links.second, links.first)):
        beside = (a >= links.cells) & (b < links.cells)
        np.minimum.at(out, a[beside], time_s[b[beside]])
    return out
