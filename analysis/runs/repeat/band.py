"""The band in which good runs pass each distance: a tolerance band, or one from usual scatter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.runs.panels.good_run import Reference
from analysis.runs.repeat.tolerance import known_spread_factor, tolerance_factor
from vision.errors import WetlineError
from vision.records import FloatArray

USUAL_SD = 0.12
"""Relative sd of permeability, and so of the time to a distance, between like panels of one shop:
8 to 12 % in one laboratory (May et al. 2019, Compos. Part A 121, 100-114, from memory)."""
LEAST_OWN = 3
"""With fewer good runs nothing is known of their own spread."""
COVERAGE, CONFIDENCE = 0.95, 0.90
FIRST_SHARE = 0.1
"""Nearer to the feed than this share of the way the start alone decides."""
PLACES = 91
UNEVEN_SD = 0.02
"""Relative sd of the time at one place from uneven cloth, beside that of the whole run (common
practice, no source)."""
READING = {"mm": 2.0, "% wet": 0.5}
"""What a front, or a part's wet share, is read to (common practice, no source); the band is nowhere
narrower."""


@dataclass(frozen=True)
class Band:
    """When good runs pass each distance.

    Attributes
    ----------
    distance_mm : ndarray of shape (J,), float
        From a tenth of the way to where the shortest run ended.
    middle_s, early_s, late_s : ndarray of shape (J,), float
        Middle of the good runs, and the ends of the band; seconds, or whatever the runs' clock
        counts.
    usual_early_s, usual_late_s : ndarray of shape (J,), float
        The same from the scatter that like panels usually have.
    count : int
        Good runs.
    own : bool
        Whether the band rests on the runs' own spread; else on the usual scatter.
    coverage, confidence, factor : float
        The band holds this share of good runs with this confidence; it is `factor` standard
        deviations wide to each side. `confidence` is NaN where `own` is false.
    spread : float
        Typical relative sd between the good runs; NaN where `own` is false.
    unit : str
        Of `distance_mm`: "mm" of a front, or "% wet" of a part.
    """

    distance_mm: FloatArray
    middle_s: FloatArray
    early_s: FloatArray
    late_s: FloatArray
    usual_early_s: FloatArray
    usual_late_s: FloatArray
    count: int
    own: bool
    coverage: float
    confidence: float
    factor: float
    spread: float
    unit: str = "mm"

    @property
    def words(self) -> str:
        """What the band is, in one plain sentence."""
        share = f"{100 * self.coverage:.0f} %"
        if not self.own:
            runs = "one good run" if self.count == 1 else f"{self.count} good runs"
            return (
                f"{runs} cannot show how good runs scatter: the band is the usual scatter of like "
                f"panels about them, not yours; from {LEAST_OWN} runs on it is your own"
            )
        wide = np.median(self.late_s / self.middle_s) - 1.0
        few = ", wide because the runs are few" if self.factor > 3.0 else ""
        sure = f"{100 * self.confidence:.0f} % confidence"
        return (
            f"tolerance band from {self.count} good runs: {share} of runs like them pass inside "
            f"it, with {sure} (up to {100 * wide:.0f} % late{few})"
        )

    def front_mm(
        self, time_s: FloatArray, usual: bool = False
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the middle front and the band of the front at each time.

        Parameters
        ----------
        time_s : ndarray of shape (K,), float
        usual : bool
            The band of the usual scatter, whatever the runs' own.

        Returns
        -------
        mean_mm, low_mm, high_mm : ndarray of shape (K,), float
            NaN past the time at which the middle run is at the last distance.
        """
        out = []
        late, early = self.late_s, self.early_s
        if usual:
            late, early = self.usual_late_s, self.usual_early_s
        for clock in (self.middle_s, late, early):
            first = self.distance_mm[0] * np.sqrt(np.maximum(time_s, 0.0) / clock[0])
            inside = np.interp(time_s, clock, self.distance_mm)
            out.append(np.where(time_s < clock[0], first, inside))
        known = time_s <= self.middle_s[-1]
        mean, low, high = (np.where(known, front, np.nan) for front in out)
        return mean, low, high


def good_band(
    runs: Sequence[Reference],
    usual_sd: float = USUAL_SD,
    coverage: float = COVERAGE,
    confidence: float = CONFIDENCE,
    unit: str = "mm",
) -> Band:
    """Compute the band of good runs.

    Parameters
    ----------
    runs : sequence of Reference
        At least one.
    usual_sd : float
        Relative sd of permeability between like panels, for one or two runs, and as a second band.
    coverage, confidence : float
        Of the tolerance band.
    unit : {"mm", "% wet"}
        What the runs' distances are.

    Returns
    -------
    Band

    Raises
    ------
    WetlineError
        If there is no run.

    Notes
    -----
    The time to a distance goes as one over the permeability, whose scatter is a factor: the band
    is worked out in the logarithm of time. At each distance it is mean +- k s with the exact
    two-sided factor k of `analysis.runs.repeat.tolerance.tolerance_factor`; s is that of the
    distance, or of all distances together where that is more, so that the band is no narrower
    than the factor asks for. The band of usual scatter is widened by what one place may be off, so
    that a run is rarely outside anywhere on its way.
    """
    if not runs:
        raise WetlineError("no good run: name the folder of one or more")
    end = min(float(run.front_mm[-1]) for run in runs)
    distance = np.linspace(FIRST_SHARE * end, end * (1.0 - 1e-12), PLACES)
    clocks = np.log(np.array([run.passed_s(distance) for run in runs]))
    middle, count = clocks.mean(axis=0), len(runs)
    least = 2.0 * READING[unit] / distance
    usual = known_spread_factor(count, coverage) * usual_sd + np.hypot(2.0 * UNEVEN_SD, least)
    half, factor, spread = usual, known_spread_factor(count, coverage), np.nan
    own = count >= LEAST_OWN
    if own:
        sd = clocks.std(axis=0, ddof=1)
        spread = float(np.sqrt(np.mean(sd**2)))
        factor = tolerance_factor(count, coverage, confidence)
        half = np.maximum(factor * np.maximum(sd, spread), least)
    rising = np.maximum.accumulate
    return Band(
        distance_mm=distance,
        middle_s=rising(np.exp(middle)),
        early_s=rising(np.exp(middle - half)),
        late_s=rising(np.exp(middle + half)),
        usual_early_s=rising(np.exp(middle - usual)),
        usual_late_s=rising(np.exp(middle + usual)),
        count=count,
        own=own,
        coverage=coverage,
        confidence=confidence if own else float("nan"),
        factor=factor,
        spread=spread,
        unit=unit,
    )
