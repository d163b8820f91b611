"""How often the intervals of a drawdown hold the truth, over logs simulated independently.

Run by hand: ``python tests/bench/drawdown_coverage.py [LOGS] [SEED]``. The gas comes out in shapes
of which only some are among those the fit tries; the leak is marched through the gas equation;
gauge steps, a shop that warms or cools, and uneven reading times are as a shop has them.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from analysis.shop.drawdown import LIMIT_MBAR, LIMIT_MIN, assess_drawdown
from analysis.shop.gauge_log import GaugeLog

AIR_MBAR = 1000.0
KINDS = ("outgassing", "leak", "leak and outgassing", "tight")


def simulate(rng, kind):
    """Return the log, its leak in mbar/min, and its rise in the limit's time, in mbar."""
    minutes = np.linspace(0.0, 40.0, 8001)
    gas = np.zeros_like(minutes)
    if "outgassing" in kind:
        gas = _gas(rng, minutes)
    leak = rng.uniform(0.05, 1.5) if "leak" in kind else 0.0
    start = rng.uniform(3.0, 60.0)
    true = _marched(start, leak, minutes, gas)
    span = rng.uniform(8.0, 30.0)
    count = int(rng.integers(8, 60))
    at = np.linspace(0.0, span, count)
    at[1:-1] += rng.uniform(-0.3, 0.3, count - 2) * span / count
    exact = np.interp(at, minutes, true)
    warmth = np.cumsum(rng.normal(0, 1, count)) * rng.uniform(0, 0.5) / np.sqrt(count)
    warmth += rng.uniform(-1, 1) * at / 20.0
    exact = exact * (295.0 + warmth) / 295.0 + 0.1 * rng.uniform(-1, 1) * warmth
    step = rng.choice([0.01, 0.1, 0.34, 1.0])
    read = np.round((exact + rng.normal(0, rng.uniform(0.3, 1.0) * step + 0.01, count)) / step)
    return (
        GaugeLog(at * 60.0, read * step, step, "mbar", AIR_MBAR),
        leak,
        np.interp(LIMIT_MIN, minutes, true) - start,
    )


def _gas(rng, minutes):
    """Gas given off: one exponential, two, a power of time, or a saturating vapour."""
    size, tau = rng.uniform(1.0, 15.0), rng.uniform(1.0, 12.0)
    kind = rng.integers(5)
    if kind == 0:
        return size * -np.expm1(-minutes / tau)
    if kind == 1:
        return 0.6 * size * -np.expm1(-minutes / tau) + 0.4 * size * -np.expm1(-minutes / tau / 5)
    if kind == 2:
        return 0.5 * size * np.log1p(minutes / tau * 2)
    if kind == 3:
        return size * ((1 + minutes / tau) ** 0.4 - 1)
    return size * np.tanh(minutes / tau)


def _marched(start, leak, minutes, gas):
    """Pressure with a laminar leak, dp/dt = leak (pa^2 - p^2) / (pa^2 - p0^2) + gas."""
    p = np.empty_like(minutes)
    p[0], step = start, minutes[1] - minutes[0]
    more = np.diff(gas, append=gas[-1])
    full = AIR_MBAR**2 - start**2
    for i in range(len(minutes) - 1):
        p[i + 1] = p[i] + leak * (AIR_MBAR**2 - p[i] ** 2) / full * step + more[i]
    return p


def judge(rng, kind):
    """Tell whether leak and rise were held, a leak was claimed, and a wrong verdict given."""
    log, leak, rise = simulate(rng, kind)
    found = assess_drawdown(log)
    wrong = (found.verdict == "go" and rise > LIMIT_MBAR) or (
        found.verdict == "no-go" and rise < LIMIT_MBAR
    )
    return (
        found.leak_low_mbar_min <= leak <= found.leak_high_mbar_min,
        found.rise_low_mbar <= rise <= found.rise_high_mbar,
        found.leak_low_mbar_min > 0,
        wrong,
        found.verdict == "no-go",
        rise > LIMIT_MBAR,
    )


def main(logs=200, seed=1):
    """Print the shares for each kind of log."""
    for kind in KINDS:
        told = [judge(np.random.default_rng([seed, i]), kind) for i in range(logs)]
        leak, rise, claimed, wrong, _, _ = 100 * np.mean(told, axis=0)
        past = [t[4] for t in told if t[5]]
        print(
            f"{kind:20s} leak held {leak:5.1f} %, rise held {rise:5.1f} %, a leak claimed "
            f"{claimed:5.1f} %, go or no-go wrong {wrong:4.1f} %, no-go where the rise is past the "
            f"limit {100 * np.mean(past or [0]):5.1f} % of {len(past)}"
        )


if __name__ == "__main__":
    main(*(int(v) for v in sys.argv[1:]))
