"""A forecast with intervals against a plain Monte Carlo of equal accuracy, side by side.

Run by hand: ``python tests/bench/forecast_speed.py``. The Monte Carlo draws viscosity, pressure,
porosity, scale, lay-up, gel time and the frames' errors, refits each draw by SciPy's curve_fit
and reads the 95 % bounds off the draws. The bound of N draws has a relative standard error of
1.36 / sqrt(N) of the half width (order statistics of a normal), so N = 4600 for 2 %.
"""

import sys
import time
from pathlib import Path

import numpy as np
from scipy.optimize import curve_fit

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from analysis.forecast.forecast import forecast
from analysis.forecast.panel_answer import answer
from analysis.panel.records import Part, Resin
from tests.made_up.curves import edge_front_mm, make_curve, make_panel, make_tracked

DRAWS = 4600


def monte_carlo(panel, time_s, front_m, sd_m, rng):
    """Bounds of K, fill time and margin from draws."""
    k, fill, margin = np.empty(DRAWS), np.empty(DRAWS), np.empty(DRAWS)
    resin, part = panel.resin, panel.part

    def law(t, d, c):
        return np.sqrt(np.maximum(d * t + c, 1e-12))

    start = np.polyfit(time_s, front_m**2, 1)
    for i in range(DRAWS):
        x = front_m * np.exp(rng.normal(0, 0.001)) + rng.normal(0, sd_m, len(front_m))
        d, _ = curve_fit(law, time_s, x, p0=start)[0]
        mu = resin.viscosity_pa_s * np.exp(rng.normal(0, resin.viscosity_sd))
        drive = panel.vacuum.pressure_pa * np.exp(rng.normal(0, panel.vacuum.pressure_sd))
        phi = panel.stack.porosity * np.exp(rng.normal(0, panel.stack.porosity_sd))
        k[i] = d * phi * mu / (2 * drive)
        fill[i] = part.flow_length_m**2 / (d * np.exp(rng.normal(0, part.repeat_sd)))
        gel = resin.gel_time_s * np.exp(rng.normal(0, resin.gel_sd))
        margin[i] = resin.working_share * gel / fill[i]
    return [np.quantile(v, [0.025, 0.975]) for v in (k, fill, margin)]


def best_of(job, repeats):
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        result = job()
        times.append(time.perf_counter() - start)
    return min(times), result


def main():
    rng = np.random.default_rng(4)
    t = np.linspace(20.0, 1500.0, 60)
    x_mm = edge_front_mm(t) + rng.normal(0, 0.5, len(t))
    resin = Resin(viscosity_pa_s=0.2, gel_time_s=3600.0, temperature_c=20.0)
    panel = make_panel(resin=resin, part=Part(1.0))
    tracked = make_tracked(make_curve(t, x_mm, 0.5))
    ours_s, results = best_of(lambda: answer(tracked, panel), 5)
    whole_s, _ = best_of(lambda: forecast(panel, tracked), 3)
    drawn_s, bounds = best_of(lambda: monte_carlo(panel, t, x_mm / 1000, 0.5e-3, rng), 1)
    fill, gel = results.fill, results.gel
    mine = [
        (results.k_low_m2, results.k_high_m2),
        (fill.time_low_s, fill.time_high_s),
        (gel.margin_low, gel.margin_high),
    ]
    for name, a, b in zip(("permeability", "fill time", "margin"), mine, bounds, strict=True):
        widths = np.log(a[1] / a[0]) / 2, np.log(b[1] / b[0]) / 2
        print(f"{name:13s} half width: ours {widths[0]:.4f}, drawn {widths[1]:.4f}")
    print(
        f"ours {ours_s * 1e3:.0f} ms; {DRAWS} draws {drawn_s * 1e3:.0f} ms; "
        f"ratio {drawn_s / ours_s:.0f}"
    )
    print(
        f"whole forecast with every lever solved: {whole_s * 1e3:.0f} ms; "
        f"ratio {drawn_s / whole_s:.1f}"
    )


if __name__ == "__main__":
    main()
