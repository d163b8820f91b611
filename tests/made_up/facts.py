"""Panels ready to compare, made from curves without any file."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from analysis.panel.records import Part, Resin, Stack, Vacuum
from analysis.runs.panels.facts import facts_of
from tests.made_up.answers import make_answer
from tests.made_up.curves import (
    DRIVE_PA,
    K_M2,
    POROSITY,
    VISCOSITY_PA_S,
    edge_front_mm,
    make_front,
    make_panel,
)
from vision.records import ScaleSummary

TIMES = np.linspace(20.0, 1500.0, 40)


def make_facts(name="cover", k_m2=K_M2, *, pen=False, front=None, fabric=None, day=None, **changes):
    """Facts of a panel of the reference case; `changes` replace fields of the panel record.

    The front is that of the stated viscosity and vacuum.
    """
    told = {
        "name": name,
        "stack": Stack(porosity=POROSITY, thickness_m=0.003),
        "resin": Resin(
            viscosity_pa_s=VISCOSITY_PA_S,
            gel_time_s=3600.0,
            temperature_c=22.0,
            density_kg_m3=1100.0,
        ),
        "vacuum": Vacuum(DRIVE_PA),
        "part": Part(0.6),
    } | changes
    panel = make_panel(**told)
    mu, drive = panel.resin.viscosity_pa_s, panel.vacuum.pressure_pa
    slope = 2.0 * k_m2 * (drive or DRIVE_PA) / (POROSITY * (mu or VISCOSITY_PA_S))
    noise = np.random.default_rng(3).normal(0, 0.3, len(TIMES))
    x_mm = edge_front_mm(TIMES, slope) + noise
    found = make_answer(panel, front or make_front(), x_mm)
    if pen:
        scale = ScaleSummary("marks", float("nan"), 2.0, 0.003, 600.0, 200.0)
        found = replace(found, tracked=replace(found.tracked, scale=scale))
    document = {"stack": {"name": fabric} if fabric else {}, "resin": {"name": "thin epoxy"}}
    return facts_of(Path(name), found, document, day)
