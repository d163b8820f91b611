"""How often the 95 % intervals hold the truth, over made-up panels such as shops meet.

Run by hand: ``python tests/bench/interval_coverage.py [PANELS] [SEED]``. Every error drawn here
is drawn from the size that panel.toml states or that Wetline assumes where it states none.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from analysis.fit.impulse import logged_impulse
from analysis.fit.permeability import NoFit
from analysis.forecast.fill_time import forecast_fill
from analysis.forecast.panel_answer import fit_panel, margin_interval
from analysis.panel.records import Log, Part, Resin, Stack, Vacuum
from analysis.panel.resin import gel_time
from tests.made_up.curves import make_curve, make_front, make_panel, make_scale, make_tracked


def draw(rng, share=1.0):
    """Draw one panel: what is true, what the shop wrote down, what the camera saw.

    `share` scales the stated tolerances; near 0 only the camera and the fabric err.
    """
    k = np.exp(rng.uniform(np.log(5e-12), np.log(1e-9)))
    viscosity_sd, pressure_sd, porosity_sd = rng.choice([0.03, 0.05, 0.10]), 0.02, 0.02
    gel_sd, repeat_sd, scale_sd = rng.choice([0.05, 0.10]), rng.choice([0.05, 0.08, 0.12]), 0.003
    viscosity_sd, pressure_sd, porosity_sd = (
        share * sd for sd in (viscosity_sd, pressure_sd, porosity_sd)
    )
    gel_sd, repeat_sd, scale_sd = share * gel_sd, share * repeat_sd, share * scale_sd
    said = {
        "mu": rng.uniform(0.08, 0.45),
        "p": rng.uniform(70e3, 98e3),
        "phi": rng.uniform(0.40, 0.60),
    }
    mu = said["mu"] * np.exp(rng.normal(0, viscosity_sd))
    p = said["p"] * np.exp(rng.normal(0, pressure_sd))
    phi = said["phi"] * np.exp(rng.normal(0, porosity_sd))
    length = rng.uniform(0.25, 1.2)
    feed = rng.uniform(0.0, 0.08) if rng.random() < 0.4 else 0.0
    ideal_s = (length**2 + 2 * feed * length) * phi * mu / (2 * k * p)
    growth = np.log(2) / (ideal_s * rng.uniform(1.5, 6)) if rng.random() < 0.25 else 0.0
    log = None
    if rng.random() < 0.25:
        knots = np.linspace(0, 3 * ideal_s, 30)
        shape = 1 - 0.06 * rng.random() * knots / knots[-1]
        shape *= np.minimum(knots / (knots[1] * rng.uniform(0.1, 2.0)) + 0.3, 1.0)
        log = Log(knots, said["p"] * shape)
    true_log = Log(log.time_s, log.value * p / said["p"]) if log else p
    impulse = logged_impulse(true_log, mu, growth)
    truth = {"k": k, "impulse": impulse, "phi": phi, "feed": feed}
    end_s = impulse.time_of(_need(truth, rng.uniform(0.4, 1.0) * length))
    if not np.isfinite(end_s):
        end_s = 5 * ideal_s
    count = int(rng.integers(12, 90))
    time_s = np.sort(
        np.linspace(0, end_s, count + 1)[1:] + rng.uniform(-0.2, 0.2, count) * end_s / count
    )
    late_s = rng.uniform(0.0, 0.02) * end_s if rng.random() < 0.5 else 0.0
    x = _front(truth, time_s, late_s, length, rng)
    stalled_s = None
    if rng.random() < 0.1:
        stalled_s = rng.uniform(0.5, 0.9) * end_s
        x = np.minimum(x, np.interp(stalled_s, time_s, x))
    x = x * np.exp(rng.normal(0, scale_sd))
    white, slow = rng.uniform(0.1, 0.8), rng.uniform(0.1, 1.5)
    noise = rng.normal(0, white, count) + slow * _slow_noise(
        time_s, rng.uniform(0.01, 0.15) * end_s, rng
    )
    front_mm = np.maximum(x * 1000.0 + noise + rng.normal(0, 0.3), 0.0)
    stated_sd = np.hypot(white, slow) * rng.uniform(0.7, 1.4)
    gel_said = float(min(ideal_s * rng.uniform(0.5, 4.0), 6e5))
    panel = make_panel(
        length_m=length,
        stack=Stack(said["phi"], porosity_sd),
        resin=Resin(
            viscosity_pa_s=said["mu"],
            viscosity_sd=viscosity_sd,
            viscosity_growth_per_s=growth,
            gel_time_s=gel_said,
            gel_sd=gel_sd,
        ),
        vacuum=Vacuum(said["p"], pressure_sd, log),
        part=Part(length * rng.uniform(0.7, 1.6), repeat_sd=repeat_sd),
    )
    front = make_front(
        length_reached_mm=front_mm.max(),
        stalled_at_s=stalled_s,
        stalled_at_mm=None if stalled_s is None else front_mm.max(),
    )
    curve = make_curve(time_s, front_mm, stated_sd)
    part = truth | {"k": k * np.exp(rng.normal(0, repeat_sd))}
    fill_s = float(impulse.time_of(_need(part, panel.part.flow_length_m)))
    working_s = 0.7 * gel_said * np.exp(rng.normal(0, gel_sd))
    return panel, curve, front, make_scale(scale_sd), k, fill_s, working_s / fill_s


def _need(truth, length):
    return (length**2 + 2 * truth["feed"] * length) * truth["phi"] / (2 * truth["k"])


def _front(truth, time_s, late_s, length, rng):
    """Front through a fabric whose permeability wanders by some per cent along the flow.

    The true permeability is that of the whole panel: the mean resistance is kept.
    """
    s = np.linspace(0, 1.3 * length, 4000)
    wander = _slow_noise(s, rng.uniform(0.005, 0.03), rng) * rng.uniform(0.0, 0.05)
    resistance = np.exp(wander)
    resistance /= resistance[s <= length].mean()
    theta = np.concatenate(
        [[0.0], np.cumsum(np.diff(s) * (truth["feed"] + np.cumsum(resistance)[1:] * (s[1] - s[0])))]
    )
    theta *= truth["phi"] / truth["k"]
    driven = truth["impulse"].at(np.maximum(time_s, late_s)) - truth["impulse"].at(late_s)
    x = np.interp(driven, theta, s)
    return np.minimum(x, length)


def _slow_noise(t, scale, rng):
    out = np.empty(len(t))
    out[0] = rng.normal()
    steps = rng.normal(size=len(t))
    rho = np.exp(-np.diff(t) / scale)
    for i, r in enumerate(rho):
        out[i + 1] = r * out[i] + np.sqrt(1 - r**2) * steps[i + 1]
    return out


def judge(case):
    """Tell for K, fill time and margin whether the interval held, and its relative width."""
    panel, curve, front, scale, k, fill_s, margin = case
    fit, _ = fit_panel(panel, make_tracked(curve, front, scale))
    if isinstance(fit, NoFit):
        return None
    gel = gel_time(panel.resin)
    part = panel.part
    fill = forecast_fill(fit, part.flow_length_m, part.repeat_sd, gel.working_s)
    low, high = margin_interval(fill, gel.working_s, gel.relative_sd)[1:]
    held = (
        fit.k_low_m2 <= k <= fit.k_high_m2,
        fill.time_low_s <= fill_s <= fill.time_high_s,
        low <= margin <= high,
    )
    width = (
        np.log(fit.k_high_m2 / fit.k_low_m2) / 2,
        np.log(fill.time_high_s / fill.time_low_s) / 2 if np.isfinite(fill.time_high_s) else np.inf,
        np.log(high / low) / 2 if low > 0 else np.inf,
    )
    return held, width, fit


def main(panels=600, seed=1):
    """Print the share held, first with shop tolerances, then with the camera's errors alone."""
    for share, title in ((1.0, "shop tolerances"), (1e-3, "errors of the front alone")):
        rng = np.random.default_rng(seed)
        answers = [judge(draw(rng, share)) for _ in range(panels)]
        good = [a for a in answers if a is not None]
        held = np.array([a[0] for a in good])
        width = np.array([a[1] for a in good])
        print(f"{title}: {panels} panels, seed {seed}, {panels - len(good)} without a fit")
        for i, name in enumerate(("permeability", "fill time", "gel margin")):
            hit, half = held[:, i].mean() * 100, np.median(width[:, i]) * 100
            print(f"  {name:13s} 95 % interval holds {hit:5.1f} %, median +/- {half:4.1f} %")


if __name__ == "__main__":
    main(*(int(v) for v in sys.argv[1:]))
