"""How often pairs of panels are called really different: like ones, and ones 50 % apart in K.

Run by hand: ``python tests/bench/like_panels.py [PANELS] [SEED]``. The panels are those of
tests/bench/simulated_panels.py, each with its own resin, vacuum, length, camera or pen, and errors
as large as panel.toml states. Each is fitted once; then every panel meets others, with a scatter
between like panels of 8 or 12 % in K (May et al. 2019, Compos. Part A 121, 100-114, from memory).
"""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from analysis.forecast.panel_answer import answer
from analysis.runs.compare.differences import SCATTER, differences, estimate, mean_of
from tests.bench.interval_coverage import make_case
from tests.bench.simulated_panels import simulate

MEETINGS = 20_000


def measured(panels, seed):
    """Return for each simulated panel the estimate of K over the true K; those without K go."""
    out = []
    for i in range(panels):
        sim = simulate(np.random.default_rng([seed, i]))
        panel, tracked = make_case(sim)
        found = answer(tracked, panel)
        one = estimate(found.k_m2, found.k_low_m2, found.k_high_m2)
        if one is not None:
            true = sim.truth["k"]
            out.append(replace(one, value=one.value / true, low=one.low / true))
    return out


def share_different(told, ratio, scatter, seed, count=1, meetings=MEETINGS):
    """Return how often two set-ups of `count` panels each, `ratio` apart, are called different."""
    rng, real = np.random.default_rng(seed), 0
    for _ in range(meetings):
        means = {}
        for letter, k in (("A", 1.0), ("B", ratio)):
            drawn = rng.integers(len(told), size=count)
            own = k * np.exp(rng.normal(0, scatter, count))
            panels = [
                replace(told[i], value=told[i].value * factor)
                for i, factor in zip(drawn, own, strict=True)
            ]
            means[letter] = mean_of(panels, SCATTER)
        real += differences(means)[0].real
    return real / meetings


def main(panels=300, seed=1):
    """Print the shares for like pairs and pairs 50 % apart, with one panel and with three."""
    told = measured(panels, seed)
    print(f"{len(told)} of {panels} panels have a K; {MEETINGS} meetings each, seed {seed}")
    for count in (1, 3):
        for scatter in (0.08, 0.12):
            like, apart = (share_different(told, r, scatter, seed, count) for r in (1.0, 1.5))
            print(
                f"{count} panel(s) each, scatter {100 * scatter:.0f} %: like ones called different "
                f"{100 * like:.1f} %, 50 % apart {100 * apart:.1f} %"
            )


if __name__ == "__main__":
    main(*(int(v) for v in sys.argv[1:]))
