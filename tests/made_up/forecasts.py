"""Made-up forecasts of the reference panel, for the tests of what could be changed."""

import numpy as np

from analysis.forecast.forecast import forecast
from analysis.panel.records import Part, Resin
from tests.made_up.curves import edge_front_mm, make_curve, make_panel, make_tracked

TIMES = np.linspace(20.0, 1500.0, 30)
RESIN = Resin(
    viscosity_pa_s=0.2,
    viscosity_temperature_c=20.0,
    viscosity_second=(0.11, 30.0),
    gel_time_s=3600.0,
    gel_second=(1700.0, 30.0),
    gel_temperature_c=20.0,
    temperature_c=20.0,
)


def made(length_m=1.0, feed_length_m=0.0, media=None, **changes):
    panel = make_panel(**({"resin": RESIN, "part": Part(length_m)} | changes))
    x = edge_front_mm(TIMES, feed_length_m=feed_length_m)
    x = x + np.random.default_rng(1).normal(0, 0.3, len(TIMES))
    curve = make_curve(TIMES, x, 0.3)
    return forecast(panel, make_tracked(curve), media)


def change_of(found, name):
    return next(item for item in found.changes if item.name == name)
