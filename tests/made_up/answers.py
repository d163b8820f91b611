"""Made-up panel answers, worked out from made-up curves or put together by hand."""

from dataclasses import replace

import numpy as np

from analysis.fit.permeability import NoFit
from analysis.forecast.fill_time import FillForecast
from analysis.forecast.panel_answer import GelAnswer, PanelAnswer, answer
from analysis.forecast.verdict import Judgement
from tests.made_up.curves import edge_front_mm, make_curve, make_front, make_panel, make_tracked
from vision.records import DrySpot, ScaleSummary

TIMES = np.linspace(20.0, 1500.0, 40)


def make_answer(panel=None, front=None, x_mm=None, sd_mm=0.3, **changes) -> PanelAnswer:
    """The answer of the reference panel; `changes` replace fields of the finished record."""
    noise = np.random.default_rng(3).normal(0, 0.3, len(TIMES))
    x_mm = edge_front_mm(TIMES) + noise if x_mm is None else x_mm
    tracked = make_tracked(make_curve(TIMES, x_mm, sd_mm), front)
    return replace(answer(tracked, panel or make_panel()), **changes)


def roof_cover(**changes) -> PanelAnswer:
    """The answer of a panel of roof covers, every number set by hand; `changes` go last."""
    warning = "Frame 21 lies 25 mm off the curve & was not used."
    front = make_front(
        frames=48,
        frames_used=41,
        resin_start="2031-05-06T09:12:00",
        length_reached_mm=352.4,
        race_tracking_mm=14.2,
        dry_spots=(DrySpot(150.2, 139.7, 560.0),),
        warnings=(warning,),
    )
    flat = "The sheet lies flat beside the panel."
    scale = ScaleSummary("sheet", 0.5, 0.64, 0.002, 600.0, 200.0, flat)
    base = make_answer(make_panel(name="Roof cover 7"), front)
    used = np.arange(len(base.fit.used)) != 3
    fit = replace(base.fit, k_m2=8.13e-11, k_low_m2=7.6e-11, k_high_m2=1.02e-10, used=used)
    values = {
        "tracked": replace(base.tracked, scale=scale),
        "fit": fit,
        "fill": FillForecast(0.45, 1830.0, 1690.0, 2010.0, 0.5452),
        "gel": GelAnswer(3300.0, 2700.0, False, 1.475, 1.2, 1.7),
        "judgement": Judgement("fills", "it takes 31 min of the 45 min there are."),
        "warnings": (warning,),
    }
    return replace(base, **(values | changes))


def bare_answer(word="cannot decide", reason="no front seen") -> PanelAnswer:
    """An answer of which next to nothing is known."""
    return make_answer(
        make_panel(name="Roof cover 7", part=None),
        make_front(usable=False, reason=reason),
        fit=NoFit(reason),
        gel=None,
        judgement=Judgement(word, reason),
        warnings=(),
    )
