"""Panel folders with pen marks, tracked and ready to compare: runs of an invented shop."""

import csv

import numpy as np

from vision.tracking.job import track_folder

PANEL = """
[panel]
name = "{name}"
length_mm = 600
width_mm = 200

[frames]
source = "marks.csv"

[stack]
{stack}
porosity = {porosity}
thickness_mm = 3.0

[resin]
viscosity_mpas = {viscosity}
gel_time_min = {gel_min}
temperature_c = {warm_c}

[vacuum]
pressure_difference_mbar = 950

[part]
flow_length_mm = {run_mm}
"""


def write_run(
    folder,
    k_m2=1e-10,
    *,
    seed=0,
    stack="",
    porosity=0.5,
    viscosity=200,
    true_viscosity=None,
    gel_min=60,
    warm_c=22,
    run_mm=600,
    end_mm=580,
    bend=None,
    track=True,
):
    """Write a run whose front follows Darcy's law, read with a pen; `bend` reshapes the time."""
    folder.mkdir(parents=True)
    text = PANEL.format(
        name=folder.name.replace("_", " "),
        stack=f'name = "{stack}"' if stack else "",
        porosity=porosity,
        viscosity=viscosity,
        gel_min=gel_min,
        warm_c=warm_c,
        run_mm=run_mm,
    )
    (folder / "panel.toml").write_text(text, encoding="utf-8")
    rate = 2.0 * k_m2 * 95_000.0 / (porosity * (true_viscosity or viscosity) / 1000.0)
    time_s = np.linspace(0.06, 1.0, 18) * (end_mm / 1000.0) ** 2 / rate
    theta = time_s if bend is None else bend(time_s)
    front_mm = np.sqrt(rate * theta) * 1000.0
    front_mm = front_mm + np.random.default_rng(seed).normal(0, 0.8, len(time_s))
    front_mm = np.maximum.accumulate(front_mm)
    with (folder / "marks.csv").open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["time_s", "distance_mm"])
        writer.writerows(zip(time_s.round(1), front_mm.round(1), strict=True))
    if track:
        track_folder(folder, True)
    return folder
