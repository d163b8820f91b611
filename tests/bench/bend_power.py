"""How often a front that bends is warned of, and how often one that does not.

Run by hand: ``python tests/bench/bend_power.py [PANELS] [SEED]``. The panels are those of
tests/bench/simulated_panels.py; the trouble is one that nobody wrote down.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from analysis.fit.frame_selection import SLOWED
from analysis.fit.permeability import NoFit, fit_permeability
from tests.bench.interval_coverage import make_case
from tests.bench.simulated_panels import TROUBLES, simulate


def warned(panel, tracked):
    """Tell whether a panel is warned of: by the test for a bend, and in any way."""
    fit = fit_permeability(panel, tracked)
    if isinstance(fit, NoFit):
        return False, True
    bent = fit.bend is not None and fit.bend.clear
    cut = SLOWED in fit.frame_notes or tracked.front.stalled_at_mm is not None
    return bent, bent or cut


def rates(panels, seed, pen, trouble):
    """Return the shares of panels warned of: by the test alone, and in any way."""
    told = [
        warned(*make_case(simulate(np.random.default_rng([seed, i]), pen=pen, trouble=trouble)))
        for i in range(panels)
    ]
    return np.mean(np.array(told, float), axis=0)


def main(panels=200, seed=1):
    """Print the share warned of for each trouble, with pen marks and with photos."""
    for pen, name in ((True, "pen marks"), (False, "photos")):
        for trouble in TROUBLES:
            bent, told = rates(panels, seed, pen, trouble)
            print(
                f"{name:10s} {trouble or 'no trouble':16s} test {bent * 100:5.1f} %, "
                f"warned of in any way {told * 100:5.1f} %  ({panels} panels, seed {seed})"
            )


if __name__ == "__main__":
    main(*(int(v) for v in sys.argv[1:]))
