"""How far a liquid has come in each lane, worked out from its law: the truth of a made-up run.

Lucas and Washburn's law with weight, h' = a/h - b (Washburn, Phys. Rev. 17, 273, 1921), or
x² = k theta with a feed that may be shut for a while.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

LANES = 480


@dataclass(frozen=True)
class Law:
    """The even front: `reach_mm` at `reach_s`; `top_mm` is where weight stops it.

    `shut` holds (from_s, to_s) in which no liquid comes.
    """

    reach_mm: float
    reach_s: float
    top_mm: float = np.inf
    shut: tuple[tuple[float, float], ...] = ()

    def at(self, time_s: float) -> float:
        """Distance of the even front in mm."""
        flown = max(time_s, 0.0)
        for begun, ended in self.shut:
            flown -= max(0.0, min(time_s, ended) - begun)
        if not np.isfinite(self.top_mm):
            return float(self.reach_mm * np.sqrt(flown / self.reach_s))
        h = np.linspace(0, self.top_mm * 0.9999, 4000)
        taken = -h / self.top_mm - np.log1p(-h / self.top_mm)
        share = self.reach_mm / self.top_mm
        taken *= self.reach_s / (-share - np.log1p(-share))
        return float(np.interp(flown, taken, h))


@dataclass(frozen=True)
class Front:
    """The leading wet place per lane.

    Attributes
    ----------
    law : Law
    length_mm, width_mm : float
    fingers_mm : float
        Scatter of the lanes about the even front, some lanes wide.
    fibres_mm : float
        The same of single fibres.
    race : float
        Lead of the lanes along one edge, as a share of the distance.
    race_mm : float
        Breadth of that.
    share : float
        Of the law's distance; for a second front behind the first.
    seed : int
    """

    law: Law
    length_mm: float
    width_mm: float
    fingers_mm: float = 2.0
    fibres_mm: float = 0.3
    race: float = 0.0
    race_mm: float = 12.0
    share: float = 1.0
    seed: int = 1

    @cached_property
    def lanes_mm(self) -> np.ndarray:
        """Middles of the lanes across the flow."""
        return (np.arange(LANES) + 0.5) / LANES * self.width_mm

    @cached_property
    def _ladder(self) -> tuple[np.ndarray, np.ndarray]:
        """Lead of each lane over a ladder of even distances; it never goes back."""
        rng = np.random.default_rng([self.seed, 11])
        even = np.linspace(0, 1.6 * self.length_mm, 600)
        lead = self.fingers_mm * _smooth(rng, len(even), LANES, 60, 45)
        lead += self.fibres_mm * _smooth(rng, len(even), LANES, 12, 3)
        lead *= np.minimum(1.0, even / (6 * self.fingers_mm + 1e-9))[:, None]
        lead += self.race * even[:, None] * np.exp(-((self.lanes_mm / self.race_mm) ** 2))
        return even, np.maximum.accumulate(np.maximum(even[:, None] + lead, 0), axis=0)

    def at(self, time_s: float) -> np.ndarray:
        """Front of each lane in mm, of shape (LANES,)."""
        even, lanes = self._ladder
        at = self.share * self.law.at(time_s) / even[-1] * (len(even) - 1)
        low = min(int(at), len(even) - 2)
        between = lanes[low] + (min(at, len(even) - 1.0) - low) * (lanes[low + 1] - lanes[low])
        return np.asarray(np.clip(between, 0, self.length_mm))


def _smooth(rng: np.random.Generator, rows: int, cols: int, high: float, wide: float) -> np.ndarray:
    """Noise of standard deviation 1, smooth over `high` rows and `wide` columns."""
    spectrum = np.fft.rfft2(rng.standard_normal((rows, cols)))
    down = np.exp(-2 * (np.pi * high * np.fft.fftfreq(rows)[:, None]) ** 2)
    across = np.exp(-2 * (np.pi * wide * np.fft.rfftfreq(cols)[None, :]) ** 2)
    noise = np.fft.irfft2(spectrum * down * across, s=(rows, cols))
    return np.asarray((noise - noise.mean()) / noise.std())


def field_of(seed: int, rows: int, cols: int, grain: float) -> np.ndarray:
    """A field of smooth noise, standard deviation 1, features about `grain` cells wide."""
    return _smooth(np.random.default_rng([seed, 29]), rows, cols, grain, grain)
