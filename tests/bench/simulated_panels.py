"""Panels simulated lane by lane, with errors that are not shaped as the intervals assume.

Nothing here is taken from the package's physics: each lane is marched through its own cloth,
pressure and viscosity are summed on a fine clock, and the errors have other shapes than the
fit's (no Ornstein-Uhlenbeck process, no normal noise alone, no exact readings).
"""

from dataclasses import dataclass

import numpy as np

LANES = 9
GAS_J_MOL_K = 8.314462618
"""Molar gas constant (CODATA 2018)."""
PANEL_C = 22.0
PART_CASES = ("same feed", "another feed", "new batch", "colder shop")
TROUBLES = ("", "thickening", "sagging vacuum", "stall")


@dataclass(frozen=True)
class Simulated:
    """One panel and the part after it; lengths m, times s, SI throughout.

    `said` is what the shop writes down, `truth` what is so. `time_s`, `front_mm` and `sd_mm` are
    the readings; `fill_s` the true fill time of the part in each of `PART_CASES`.
    """

    pen: bool
    said: dict
    truth: dict
    time_s: np.ndarray
    front_mm: np.ndarray
    sd_mm: float
    fill_s: dict


def simulate(rng, pen=None, trouble="", tolerance=1.0, k_m2=None):
    """Draw one panel.

    Parameters
    ----------
    rng : numpy.random.Generator
    pen : bool, optional
        Pen marks rather than photos; drawn (one in three) where left out.
    trouble : str
        One of `TROUBLES`, which nobody wrote down.
    tolerance : float
        Scales every stated tolerance; near 0 only the readings and the cloth err.
    k_m2 : float, optional
        Permeability of the panel; drawn where left out.
    """
    pen = bool(rng.random() < 1 / 3) if pen is None else pen
    said, truth = _shop(rng, tolerance)
    truth["k"] = truth["k"] if k_m2 is None else k_m2
    length = truth["length"]
    clock = np.linspace(0.0, 1.0, 6001)
    ideal_s = (length**2 + 2 * truth["feed"] * length) * truth["phi"] * truth["mu"]
    ideal_s /= 2 * truth["k"] * truth["p"]
    truth["ideal_s"] = ideal_s
    _histories(rng, said, truth, ideal_s)
    clock = clock * 6.0 * ideal_s
    drive = truth["p"] * _vacuum(truth, clock) * _trouble_drive(rng, trouble, clock, ideal_s)
    viscosity = truth["mu"] * np.exp(np.minimum(truth["growth"] * clock, 60.0))
    if trouble == "thickening":
        viscosity = viscosity * _thickening(rng, clock, ideal_s)
    theta = _summed(clock, drive / viscosity)
    lanes = _lanes(rng, truth, theta)
    front = lanes.mean(axis=0)
    if trouble == "stall":
        stop = rng.uniform(0.45, 0.8) * length
        front = _stall(front, stop, rng.uniform(0.002, 0.05) * length)
    goal = rng.uniform(0.75, 0.99) * length if trouble != "stall" else front[-1]
    end_s = float(np.interp(goal, front, clock))
    if trouble == "stall":
        end_s = float(np.interp(0.97 * front[-1], front, clock)) * rng.uniform(1.5, 2.5)
    said["gel_s"] = float(min(ideal_s * rng.uniform(0.5, 4.0), 6e5))
    truth["gel_s"] = said["gel_s"] * np.exp(_off(rng, said["gel_sd"]))
    time_s, seen_s = _times(rng, pen, min(end_s, clock[-1]))
    exact = np.interp(seen_s, clock, front) * 1000.0 * truth["scale"]
    front_mm, sd_mm = (_pen_errors if pen else _photo_errors)(rng, seen_s, exact)
    front_mm = np.maximum.accumulate(front_mm) if pen else front_mm
    return Simulated(pen, said, truth, time_s, front_mm, sd_mm, _fill_times(rng, said, truth))


def _shop(rng, tolerance):
    """What is so, and what the shop believes."""
    said = {
        "mu": rng.uniform(0.08, 0.45),
        "p": rng.uniform(75e3, 98e3),
        "phi": rng.uniform(0.40, 0.60),
        "mu_sd": rng.choice([0.03, 0.05, 0.10]),
        "p_sd": 0.02,
        "phi_sd": 0.02,
        "scale_sd": 0.003,
        "repeat_sd": rng.choice([0.05, 0.08, 0.12]),
        "gel_sd": rng.choice([0.05, 0.10]),
    }
    said |= {name: tolerance * sd for name, sd in said.items() if name.endswith("_sd")}
    k = np.exp(rng.uniform(np.log(8e-12), np.log(8e-10)))
    length = rng.uniform(0.3, 1.2)
    truth = {
        "k": k,
        "mu": said["mu"] * np.exp(_off(rng, said["mu_sd"])),
        "p": said["p"] * np.exp(_off(rng, said["p_sd"])),
        "phi": said["phi"] * np.exp(_off(rng, said["phi_sd"])),
        "scale": np.exp(_off(rng, said["scale_sd"])),
        "length": length,
        "feed": rng.uniform(0.01, 0.10) * rng.choice([0.3, 1.0]) if rng.random() < 0.5 else 0.0,
    }
    said["length"] = length
    said["run"] = length * rng.uniform(0.8, 1.6)
    return said, truth


def _off(rng, sd):
    """One error of the stated size: bounded, normal or heavy-tailed."""
    kind = rng.integers(3)
    if kind == 0:
        return rng.uniform(-1, 1) * sd * np.sqrt(3)
    return rng.normal(0, sd) if kind == 1 else rng.standard_t(5) * sd * np.sqrt(3 / 5)


def _histories(rng, said, truth, ideal_s):
    """Thickening and a vacuum that sags, both as the shop states them."""
    grows = rng.random() < 0.3
    truth["growth"] = np.log(2) / (ideal_s * rng.uniform(1.2, 6)) if grows else 0.0
    said["growth"] = truth["growth"]
    said["log"] = truth["sag"] = None
    if rng.random() < 0.3:
        truth["sag"] = (rng.uniform(0.01, 0.08), rng.uniform(0.2, 1.5) * ideal_s)
        knots = np.linspace(0.0, 4.0 * ideal_s, int(rng.integers(12, 50)))
        value = np.round(said["p"] * _vacuum(truth, knots) / 100.0) * 100.0
        said["log"] = (knots, value)


def _vacuum(truth, time_s):
    if truth["sag"] is None:
        return np.ones_like(time_s)
    depth, tau = truth["sag"]
    return 1.0 - depth * -np.expm1(-time_s / tau)


def _trouble_drive(rng, trouble, clock, ideal_s):
    """A leak that opens during the run and that no log shows."""
    if trouble != "sagging vacuum":
        return 1.0
    start, span = rng.uniform(0.0, 0.4) * ideal_s, rng.uniform(0.3, 1.0) * ideal_s
    depth = rng.uniform(0.25, 0.6)
    return 1.0 - depth * np.clip((clock - start) / span, 0.0, 1.0)


def _thickening(rng, clock, ideal_s):
    """Viscosity that doubles within the run, exponentially or ever faster."""
    doubling = ideal_s * rng.uniform(0.35, 0.9)
    power = rng.choice([1.0, 2.0])
    return np.exp(np.minimum(np.log(2) * (clock / doubling) ** power, 60.0))


def _stall(front, stop, round_off):
    """Bend the front smoothly into a standstill."""
    over = (front - stop) / round_off
    return stop - round_off * np.log1p(np.exp(-np.clip(over, -700, 700)))


def _summed(t, rate):
    step = 0.5 * (rate[1:] + rate[:-1]) * np.diff(t)
    return np.concatenate([[0.0], np.cumsum(step)])


def _lanes(rng, truth, theta):
    """Fronts of all lanes, shape (LANES, T): a curved or slanted profile over uneven cloth."""
    s = np.linspace(0.0, 1.4 * truth["length"], 3000)
    y = np.linspace(-1.0, 1.0, LANES)
    bow, slant = rng.normal(0, 0.03), rng.normal(0, 0.03)
    across = bow * (y**2 - np.mean(y**2)) + slant * y
    uneven = rng.uniform(0.0, 0.04) * _cloth(rng, s / truth["length"])
    inside = s <= truth["length"]
    uneven = uneven - np.log(_effective(s[inside], np.exp(-uneven[inside])))
    fronts = []
    for shift in across:
        own = uneven + shift + rng.uniform(0.0, 0.02) * _cloth(rng, s / truth["length"])
        need = _summed(s, truth["feed"] + _summed(s, np.exp(-own)))
        fronts.append(np.interp(theta, need * truth["phi"] / truth["k"], s))
    return np.minimum(np.array(fronts), truth["length"])


def _effective(s, resistance):
    """Factor on permeability that fills the length in the same impulse."""
    return 0.5 * s[-1] ** 2 / _summed(s, _summed(s, resistance))[-1]


def _cloth(rng, s):
    """Unevenness of the cloth along the flow, of size one: waves, a lap, or smooth hills."""
    kind = rng.integers(3)
    if kind == 0:
        return np.sqrt(2) * np.sin(2 * np.pi * s / rng.uniform(0.05, 0.5) + rng.uniform(0, 6.3))
    if kind == 1:
        at, wide = rng.uniform(0.1, 0.8), rng.uniform(0.05, 0.3)
        return 2.0 * ((s > at) & (s < at + wide)) * rng.choice([-1, 1])
    return _hills(rng, s, rng.uniform(0.02, 0.2))


def _hills(rng, s, width):
    """A smooth process with a Gaussian-shaped correlation, of size one."""
    waves = rng.normal(0, 1 / width, 60)
    return np.sqrt(2 / 60) * np.sum(
        np.cos(waves[:, None] * s[None] + rng.uniform(0, 2 * np.pi, 60)[:, None]), axis=0
    )


def _times(rng, pen, end_s):
    """Times as written down and as they were."""
    if pen:
        count = int(rng.integers(8, 26))
        even = np.linspace(0, end_s, count + 1)[1:]
        if rng.random() < 0.5:  # marks at even distances
            even = np.linspace(0, 1, count + 1)[1:] ** 2 * end_s
        said = np.maximum(np.round(even / 5.0) * 5.0, 5.0)
        said = np.unique(said)
        true = said + rng.uniform(-3, 3, len(said)) + rng.normal(0, 5.0)
    else:
        count = int(rng.integers(15, 120))
        said = np.linspace(0, end_s, count + 1)[1:]
        true = said - (rng.uniform(0, 0.01) * end_s if rng.random() < 0.4 else 0.0)
    return said, np.maximum(true, 0.0)


def _pen_errors(rng, seen_s, exact_mm):
    """A pen line, a tape read to a whole or half centimetre or to a millimetre."""
    placed = exact_mm + rng.normal(0, 1.5, len(exact_mm)) + rng.normal(0, 0.8)
    step = rng.choice([1.0, 1.0, 5.0])
    return np.maximum(np.round(placed / step) * step, 0.0), 2.0


def _photo_errors(rng, seen_s, exact_mm):
    """Fresh heavy-tailed noise, a smooth drift, a jump of the camera, a lag, rounding."""
    n, s = len(seen_s), seen_s / seen_s[-1]
    fresh, slow = rng.uniform(0.05, 0.6), rng.uniform(0.05, 1.0)
    out = exact_mm + fresh * rng.standard_t(4, n) / np.sqrt(2)
    kind = rng.integers(3)
    if kind == 0:
        out = out + slow * _hills(rng, s, rng.uniform(0.03, 0.3))
    elif kind == 1:
        out = out + slow * np.sqrt(2) * np.sin(2 * np.pi * s / rng.uniform(0.1, 0.8))
    else:
        out = out + slow * np.cumsum((rng.random(n) < 3 / n) * rng.choice([-1.0, 1.0], n))
    out = out + rng.normal(0, 0.3)
    sd = float(np.hypot(np.hypot(fresh, slow), 0.3) * rng.uniform(0.7, 1.4))
    return np.maximum(np.round(out, 1), 0.0), sd


def _fill_times(rng, said, truth):
    """True fill time of the part: the same set-up, another feed, a new batch, a colder shop."""
    k = truth["k"] * np.exp(rng.normal(0, said["repeat_sd"]))
    # Published activation energies of viscosity, thin resins near the lower end (from memory).
    energy = rng.triangular(41e3, 45e3, 83e3)
    said["temperature_c"] = PANEL_C - np.round(rng.uniform(3, 8))
    colder = said["temperature_c"] - PANEL_C + rng.uniform(-0.8, 0.8)  # as the thermometer errs
    warm = PANEL_C + 273.15
    chill = np.exp(energy / GAS_J_MOL_K * (1 / (warm + colder) - 1 / warm))
    chill_gel = 2.0 ** (-colder / 10.0)
    other = truth["feed"] * rng.choice([0.0, 0.0, 0.5, 1.5, 2.0])
    batch = np.exp(_off(rng, 0.07))
    cases = {
        "same feed": (truth["feed"], 1.0, 1.0),
        "another feed": (other, 1.0, 1.0),
        "new batch": (truth["feed"], batch, 1.0),
        "colder shop": (truth["feed"], chill, chill_gel),
    }
    return {name: _fill_s(truth, said["run"], k, *case) for name, case in cases.items()}


def _fill_s(truth, run, k, feed, viscosity, slower_cure):
    need = (run**2 + 2 * feed * run) * truth["phi"] / (2 * k)
    clock = np.linspace(0.0, 40.0 * truth["ideal_s"], 40_001)
    growth = truth["growth"] / slower_cure
    mu = truth["mu"] * viscosity * np.exp(np.minimum(growth * clock, 60.0))
    theta = _summed(clock, truth["p"] * _vacuum(truth, clock) / mu)
    return float(np.interp(need, theta, clock, right=np.inf))
