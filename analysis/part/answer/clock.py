"""What turns impulse into time for a part: vacuum, viscosity, gel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.fit.impulse import Impulse
from analysis.panel.resin import DEFAULT_DENSITY_KG_M3, gel_time
from analysis.part.plan.part_toml import PartJob
from analysis.part.plan.plan import PartPlan
from vision.records import FloatArray


@dataclass(frozen=True)
class Clock:
    """What turns impulse into time: vacuum, viscosity, gel.

    Attributes
    ----------
    impulse : Impulse
    gel_s, working_s : float or None
        From resin start.
    gel_sd : float
        Relative standard uncertainty of the gel time.
    density_kg_m3 : float
    bag_share : float or None
        Absolute pressure left in the bag over the air pressure.
    """

    impulse: Impulse
    gel_s: float | None
    working_s: float | None
    density_kg_m3: float
    bag_share: float | None = None
    gel_sd: float = 0.0


def clock_of(job: PartJob) -> Clock:
    """Return the clock of a job: when the resin gels and how fast impulse is had."""
    gel = gel_time(job.resin)
    lead = job.resin.mixed_before_start_s
    drive, ambient = job.vacuum.pressure_pa, job.vacuum.ambient_pa
    share = None if drive is None else max(0.0, 1.0 - drive / ambient)
    return Clock(
        job.impulse,
        None if gel is None else gel.gel_s - lead,
        None if gel is None else gel.working_s - lead,
        job.resin.density_kg_m3 or DEFAULT_DENSITY_KG_M3,
        share,
        0.0 if gel is None else gel.relative_sd,
    )


def opening_impulses(plan: PartPlan, impulse: Impulse) -> list[float]:
    """Return the impulse at which each feed opens."""
    return [
        float(impulse.at(feed.opens_at_s)) if feed.opens_at_s > 0 else 0.0 for feed in plan.feeds
    ]


def times_of(impulse: Impulse, theta: FloatArray) -> FloatArray:
    """Return the times at which many impulses are reached: as `Impulse.time_of`, but quicker.

    Parameters
    ----------
    impulse : Impulse
        The clock.
    theta : ndarray of shape (N,)
        Impulses; those never reached give infinity.

    Notes
    -----
    A table of the clock gives a first value, Newton's method the rest; what has not settled is
    left to `Impulse.time_of`.
    """
    times = np.full(len(theta), np.inf)
    now = np.flatnonzero(np.isfinite(theta))
    if not now.size:
        return times
    top = float(impulse.time_of(theta[now].max()))
    if not np.isfinite(top):
        top = float(impulse.time_of(0.99 * min(impulse.theta_end, theta[now].max())))
    ticks = np.unique(np.append(top * np.linspace(0, 1, 1001) ** 2, impulse.knot_s))
    ticks = ticks[ticks <= top]
    guess = np.interp(theta[now], impulse.at(ticks), ticks)
    for _ in range(3):
        guess = guess - (impulse.at(guess) - theta[now]) / np.maximum(impulse.rate(guess), 1e-300)
        guess = np.clip(guess, 0.0, top)
    rough = np.abs(impulse.at(guess) - theta[now]) > 1e-10 * theta[now].max()
    guess[rough] = impulse.time_of(theta[now][rough])
    times[now] = guess
    return times
