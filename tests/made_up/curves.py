"""Made-up panels and front curves with known answers, for the tests."""

from pathlib import Path

import numpy as np

from analysis.fit.permeability import fit_permeability
from analysis.panel.records import Panel, Part, Resin, Stack, Vacuum
from vision.records import FrontCurve, FrontSummary, ScaleSummary, Tracked

# Reference case, made up and consistent in itself: K 1e-10 m2, 95 kPa, 0.20 Pa s, porosity 0.50.
K_M2, DRIVE_PA, VISCOSITY_PA_S, POROSITY = 1e-10, 95_000.0, 0.20, 0.50
D_M2_S = 2.0 * K_M2 * DRIVE_PA / (POROSITY * VISCOSITY_PA_S)


def make_curve(time_s, front_mm, sd_mm=1.0, flow="edge", **changes):
    """A front curve whose mean, median, clean front and extremes all agree."""
    t, x = np.asarray(time_s, float), np.asarray(front_mm, float)
    n, none = len(t), np.full(len(t), np.nan)
    sd = np.full(n, float(sd_mm))
    values = {
        "flow": flow,
        "frames": tuple(f"frame {i}" for i in range(n)),
        "time_s": t,
        "front_mean_mm": x,
        "front_median_mm": x,
        "front_min_mm": x,
        "front_max_mm": x,
        "front_sd_mm": sd,
        "wetted_fraction": np.clip(x / 1000.0, 0, 1),
        "front_clean_mm": x,
        "front_clean_sd_mm": sd,
        "semi_major_mm": none,
        "semi_minor_mm": none,
        "angle_deg": none,
        "front_half_mm": none,
        "front_band_mm": none,
        "used": np.ones(n, bool),
        "notes": ("",) * n,
    }
    return FrontCurve(**(values | changes))


def make_front(**changes):
    """A run without trouble."""
    values = {
        "usable": True,
        "reason": "",
        "frames": 30,
        "frames_used": 30,
        "resin_start": None,
        "resin_start_sd_s": 0.0,
        "length_reached_mm": 550.0,
        "filled": False,
        "stalled_at_mm": None,
        "stalled_at_s": None,
        "race_tracking_mm": 0.0,
        "clean_lanes_mm": ((0.0, 200.0),),
    }
    return FrontSummary(**(values | changes))


def make_scale(relative_sd=0.001):
    return ScaleSummary("sheet", 0.5, 0.3, relative_sd, 600.0, 200.0)


def make_tracked(curve, front=None, scale=None, frame_notes=()):
    """What the tracker hands on, without an arrival map."""
    return Tracked(None, curve, front or make_front(), scale or make_scale(), frame_notes)


def make_panel(**changes):
    """The reference case as a panel 600 mm long."""
    values = {
        "folder": Path("."),
        "name": "roof cover test",
        "flow": "edge",
        "length_m": 0.6,
        "width_m": 0.2,
        "feed_radius_m": None,
        "slope_deg": 0.0,
        "stack": Stack(porosity=POROSITY),
        "resin": Resin(viscosity_pa_s=VISCOSITY_PA_S, gel_time_s=3600.0),
        "vacuum": Vacuum(DRIVE_PA),
        "part": Part(0.6),
    }
    return Panel(**(values | changes))


def edge_front_mm(time_s, slope_m2_s=D_M2_S, feed_length_m=0.0):
    """Front of an edge feed in mm: x^2 + 2 a x = D t."""
    a = feed_length_m
    return (-a + np.sqrt(a**2 + slope_m2_s * np.maximum(time_s, 0.0))) * 1000.0


TIMES = np.linspace(20.0, 1500.0, 30)


def fit(curve, panel=None, front=None, relative_sd=0.001):
    """Permeability of a panel from a made-up curve."""
    tracked = make_tracked(curve, front, make_scale(relative_sd))
    return fit_permeability(panel or make_panel(), tracked)
