"""Where on the part a run went otherwise than the good ones did, its own pace taken out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from scipy import ndimage

from analysis.infusion.beside.surroundings import Surroundings
from analysis.infusion.seen.on_plan import ArrivalSeen, SeenOnPlan, bring_on_plan
from analysis.part.grid.canvas import lay_canvas
from analysis.part.plan.plan import PartPlan
from analysis.runs.repeat.band import CONFIDENCE, COVERAGE, LEAST_OWN
from analysis.runs.repeat.tolerance import tolerance_factor
from vision.records import BoolArray, FloatArray

CELLS = 48
"""Places along the longest side of the part."""
FIRST_SHARE = 0.02
"""Share of the middle run's time before which places are not compared: the start decides there."""
PACE_SHARE = 0.5
"""Share of the places, those reached first, that set a run's pace: what holds the resin up makes
all behind it late, and must not pass for the pace."""
LEAST_LAG = 0.08
"""Share of the time by which a place must be off, however alike the good runs were (common
practice, no source)."""
LEAST_AREA = 0.01
"""Share of the part from which on a place is told of."""
LEAST_CELLS = 4
BEGINS = 0.05
"""Share of a place, reached first, in which it begins."""
FEWEST_CELLS = 30
Z_95 = 1.96


@dataclass(frozen=True)
class PlaceBand:
    """When good runs reach each place, each at its own pace; arrays of shape (cells,).

    Attributes
    ----------
    around : Surroundings
        The plan and its cells.
    middle_s : ndarray, float
        At the middle pace of the good runs; NaN where fewer than three of them saw the place.
    half : ndarray, float
        Half width of the band in the logarithm of time.
    runs : int
        Good runs.
    spread : float
        Typical relative sd between them at one place.
    paces : ndarray of shape (cells,), bool
        Places that set a run's pace.
    """

    around: Surroundings
    middle_s: FloatArray
    half: FloatArray
    runs: int
    spread: float
    paces: BoolArray

    @property
    def compared(self) -> BoolArray:
        """Places that have a band."""
        return np.isfinite(self.middle_s)


@dataclass(frozen=True)
class OddPlace:
    """A connected place outside the band.

    Attributes
    ----------
    cells : ndarray of shape (cells,), bool
    where : str
        In words.
    begins : str
        Where the resin comes to it first, in words: what holds it up or lets it race lies there.
    x_mm, y_mm : float
        A cell in its middle.
    area_mm2 : float
    late_s : float
        Against the good runs at this run's pace, the median of the place; negative where early.
    ratio : float
        Its time over theirs.
    at_least : bool
        Whether most of it was still dry when last seen.
    """

    cells: BoolArray
    where: str
    begins: str
    x_mm: float
    y_mm: float
    area_mm2: float
    late_s: float
    ratio: float
    at_least: bool


@dataclass(frozen=True)
class PlacesJudged:
    """A run beside the band, place by place.

    Attributes
    ----------
    pace : float
        Its time over the good runs', where they set theirs; NaN where too little is known of it.
    late_s : ndarray of shape (cells,), float
        Against the good runs at that pace; NaN where it cannot be compared.
    odd : tuple of OddPlace
        The largest first.
    share : float
        Share of the part that could be compared.
    """

    pace: float
    late_s: FloatArray
    odd: tuple[OddPlace, ...]
    share: float


def grid_of(plan: PartPlan) -> Surroundings:
    """Return the places of a plan on which its runs are compared."""
    rough = replace(plan, cells=CELLS)
    return Surroundings(rough, lay_canvas(rough).links)


def place_band(
    around: Surroundings,
    runs: Sequence[ArrivalSeen],
    coverage: float = COVERAGE,
    confidence: float = CONFIDENCE,
) -> PlaceBand | None:
    """Compute when good runs reach each place.

    Parameters
    ----------
    around : Surroundings
        From `grid_of`.
    runs : sequence of ArrivalSeen
    coverage, confidence : float
        Of the tolerance band at each place.

    Returns
    -------
    PlaceBand or None
        None with fewer than three runs, or where they have too few places in common.

    Notes
    -----
    The time to a place goes as one over the permeability on the way, whose scatter is a factor: as
    for panels, the band is worked out in the logarithm of time. A run's pace, the median of its
    log times less the middle ones over the half of the places that are reached first, is taken
    out: resin and vacuum set it, and the band of the wet share judges it. At each place the band
    is mean +- k s, s being that of the place or of all places together where that is more; k is
    the exact two-sided factor of `analysis.runs.repeat.tolerance.tolerance_factor`.
    """
    if len(runs) < LEAST_OWN:
        return None
    told = [_log_times(bring_on_plan(run, around.links)) for run in runs]
    logs = np.array([log for log, _ in told])
    count = np.isfinite(logs).sum(axis=0)
    enough = count >= LEAST_OWN
    if enough.sum() < FEWEST_CELLS:
        return None
    logs[:, ~enough] = np.nan
    middle = _over_runs(np.nanmean, logs)
    enough &= np.nan_to_num(middle, nan=-np.inf) >= np.log(FIRST_SHARE) + np.nanmax(middle)
    paces = np.isfinite(logs).all(axis=0) & enough
    if paces.sum() < FEWEST_CELLS:
        return None
    paces &= middle <= np.quantile(middle[paces], PACE_SHARE)
    lag = np.median((logs - middle)[:, paces], axis=1)
    logs -= (lag - lag.mean())[:, None]
    middle = _over_runs(np.nanmean, logs)
    sd = np.sqrt(_over_runs(np.nansum, (logs - middle) ** 2) / np.maximum(count - 1, 1))
    spread = float(np.sqrt(np.mean(sd[enough] ** 2)))
    wide = np.array([_factor(int(n), coverage, confidence) for n in np.maximum(count, 2)])
    half = np.maximum(wide * np.maximum(sd, spread), np.log1p(LEAST_LAG))
    hidden = ~enough
    middle[hidden], half[hidden] = np.nan, np.nan
    return PlaceBand(around, np.exp(middle), half, len(runs), spread, paces)


def judge_places(band: PlaceBand, run: ArrivalSeen) -> PlacesJudged:
    """Judge a run by the band of the good ones, place by place.

    Parameters
    ----------
    band : PlaceBand
    run : ArrivalSeen

    Notes
    -----
    A place that was still dry when last seen is late where the band's late end had passed by then.
    Its own uncertainty widens the band. A place counts from a hundredth of the part on.
    """
    on = bring_on_plan(run, band.around.links)
    log, sd = _log_times(on)
    ratio = log - np.log(np.where(band.compared, band.middle_s, np.nan))
    known = np.isfinite(ratio) & band.paces
    nothing = np.full(len(ratio), np.nan)
    if known.sum() < FEWEST_CELLS:
        return PlacesJudged(float("nan"), nothing, (), 0.0)
    pace = float(np.median(ratio[known]))
    rest = ratio - pace
    half = np.hypot(band.half, Z_95 * np.nan_to_num(sd))
    dry = on.seen & np.isposinf(on.time_s) & band.compared
    still = np.where(dry, np.log(on.last_s) - np.log(band.middle_s) - pace, np.nan)
    due = dry & (np.nan_to_num(still) > half)
    rest = np.where(due, still, rest)
    late_s = band.middle_s * np.exp(pace) * np.expm1(rest)
    area = band.around.area_mm2
    odd = [
        _odd(band, cells, late_s, rest, due)
        for side in (-1.0, 1.0)
        for cells in _connected(band.around, np.nan_to_num(side * rest) > half)
        if cells.sum() >= LEAST_CELLS and area[cells].sum() > LEAST_AREA * area.sum()
    ]
    share = float(area[np.isfinite(late_s)].sum() / area.sum())
    found = tuple(sorted(odd, key=lambda one: -one.area_mm2))
    return PlacesJudged(float(np.exp(pace)), late_s, found, share)


def _log_times(on: SeenOnPlan) -> tuple[FloatArray, FloatArray]:
    """Return log of arrival and its sd, start included; NaN where dry or not seen."""
    good = on.seen & np.isfinite(on.time_s) & (on.time_s > 0)
    time_s = np.where(good, on.time_s, np.nan)
    return np.log(time_s), np.hypot(on.sd_s, on.start_sd_s) / time_s


def _over_runs(how: Callable[..., FloatArray], values: FloatArray) -> FloatArray:
    """Return a statistic over the runs; NaN where no run has a value."""
    some = np.isfinite(values).any(axis=0)
    out = np.full(values.shape[1], np.nan)
    out[some] = how(values[:, some], axis=0)
    return out


@cache
def _factor(count: int, coverage: float, confidence: float) -> float:
    return tolerance_factor(count, coverage, confidence)


def _connected(around: Surroundings, flags: BoolArray) -> list[BoolArray]:
    links = around.links
    label, count = ndimage.label(links.field(flags.astype(float), 0.0) > 0, np.ones((3, 3)))
    name = label[links.number >= 0]
    return [name == k for k in range(1, count + 1)]


def _odd(
    band: PlaceBand, cells: BoolArray, late_s: FloatArray, rest: FloatArray, due: BoolArray
) -> OddPlace:
    around = band.around
    middle = np.average(around.centre_mm[cells], axis=0, weights=around.area_mm2[cells])
    away = np.hypot(*(around.centre_mm[cells] - middle).T)
    x, y = around.centre_mm[cells][int(np.argmin(away))]
    first = cells & (band.middle_s <= np.quantile(band.middle_s[cells], BEGINS))
    return OddPlace(
        cells=cells,
        where=around.words(cells),
        begins=around.words(first),
        x_mm=float(x),
        y_mm=float(y),
        area_mm2=float(around.area_mm2[cells].sum()),
        late_s=float(np.median(late_s[cells])),
        ratio=float(np.exp(np.median(rest[cells]))),
        at_least=bool(due[cells].mean() > 0.5),
    )
