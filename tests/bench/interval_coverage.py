"""How often the 95 % intervals hold the truth, over panels simulated independently.

Run by hand: ``python tests/bench/interval_coverage.py [PANELS] [SEED]``. The panels are those of
tests/bench/simulated_panels.py, whose errors are not shaped as the intervals assume; the
tolerances are as large as panel.toml states them.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from analysis.fit.permeability import NoFit
from analysis.forecast.panel_answer import describe, fit_panel
from analysis.panel.records import Log, Part, Resin, Stack, Vacuum
from tests.bench.simulated_panels import PANEL_C, simulate
from tests.made_up.curves import make_curve, make_front, make_panel, make_scale
from vision.front.stall import find_stall
from vision.records import Tracked

STATED = {
    "same feed": {"feed_line": "same"},
    "another feed": {"feed_line": "other"},
    "new batch": {"feed_line": "same", "resin_batch": "new"},
    "colder shop": {"feed_line": "same"},
    "same feed, nothing said": {},
    "another feed, nothing said": {},
}
"""What [part] says in each case; for a colder shop the temperature comes on top."""
TOLERANCES = {
    1.0: "shop tolerances",
    0.3: "a third of them",
    0.02: "errors of the front and the cloth alone",
}


def make_case(sim, **part):
    """Put a simulated panel into the records that the package reads."""
    said = sim.said
    log = None if said["log"] is None else Log(*said["log"])
    panel = make_panel(
        length_m=said["length"],
        stack=Stack(said["phi"], said["phi_sd"]),
        resin=Resin(
            viscosity_pa_s=said["mu"],
            viscosity_sd=said["mu_sd"],
            viscosity_growth_per_s=said["growth"],
            gel_time_s=said["gel_s"],
            gel_sd=said["gel_sd"],
            temperature_c=PANEL_C,
        ),
        vacuum=Vacuum(said["p"], said["p_sd"], log),
        part=Part(said["run"], repeat_sd=said["repeat_sd"], **part),
    )
    stall = find_stall(sim.time_s, sim.front_mm, said["length"] * 1000.0, sim.sd_mm)
    front = make_front(
        length_reached_mm=float(sim.front_mm.max()),
        resin_start_sd_s=5.0 if sim.pen else 2.0,
        stalled_at_mm=None if stall is None else stall.front_mm,
        stalled_at_s=None if stall is None else stall.since_s,
    )
    curve = make_curve(sim.time_s, sim.front_mm, sim.sd_mm)
    return panel, Tracked(None, curve, front, make_scale(said["scale_sd"]))


def judge(sim):
    """Tell for each quantity whether its interval held, and its relative half width."""
    found = {}
    fit, axes = fit_panel(*make_case(sim))
    if isinstance(fit, NoFit):
        return None
    for name, part in STATED.items():
        case = name.split(",")[0]
        if case == "colder shop":
            part = part | {"temperature_c": sim.said["temperature_c"]}
        panel, tracked = make_case(sim, **part)
        told = describe(panel, tracked, fit, axes)
        fill, fill_s = told.fill, sim.fill_s[case]
        found[f"fill time, {name}"] = _held(fill.time_low_s, fill_s, fill.time_high_s)
        if name == "same feed":
            found["permeability"] = _held(told.k_low_m2, sim.truth["k"], told.k_high_m2)
            margin = 0.7 * sim.truth["gel_s"] / fill_s
            found["gel margin"] = _held(told.gel.margin_low, margin, told.gel.margin_high)
    return found


def _held(low, true, high):
    width = np.log(high / low) / 2 if low > 0 and np.isfinite(high) else np.inf
    return low <= true <= high, width


def coverage(panels, seed, tolerance=1.0):
    """Return for each quantity the share held, its standard error and the median half width."""
    answers = []
    for i in range(panels):
        sim = simulate(np.random.default_rng([seed, i]), tolerance=tolerance)
        answers.append(judge(sim))
    good = [a for a in answers if a is not None]
    out = {}
    for name in ("permeability", "gel margin", *(f"fill time, {n}" for n in STATED)):
        held = np.mean([a[name][0] for a in good])
        error = np.sqrt(held * (1 - held) / len(good))
        out[name] = (held, error, np.median([a[name][1] for a in good]))
    return out, panels - len(good)


def main(panels=600, seed=1):
    """Print the share held with shop tolerances, a third of them, and hardly any."""
    for tolerance, title in TOLERANCES.items():
        found, lost = coverage(panels, seed, tolerance)
        print(f"{title}: {panels} panels, seed {seed}, {lost} without a fit")
        for name, (held, error, half) in found.items():
            print(
                f"  {name:38s} 95 % interval holds {held * 100:5.1f} +- {error * 100:.1f} %, "
                f"median +/- {half * 100:4.1f} %"
            )


if __name__ == "__main__":
    main(*(int(v) for v in sys.argv[1:]))
