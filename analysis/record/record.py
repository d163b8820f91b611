"""The record of one panel: results.json, the curves, and the report that holds them all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import numpy as np

from analysis.fit.anisotropy import Anisotropy
from analysis.fit.permeability import NoFit, PermeabilityFit
from analysis.forecast.panel_results import describe, fit_panel
from analysis.panel.records import Panel
from analysis.record.figures import FitBand, TimeLimit, distance_figure, png_bytes, squared_figure
from analysis.record.html import build_report
from vision.common.atomic_files import replace_file, write_json, write_text
from vision.records import FloatArray, FrontCurve, FrontSummary, ScaleSummary

BAND_POINTS = 160
PLOT_DPI = 110


@dataclass(frozen=True)
class Answered:
    """The fit of a panel and the content of results.json."""

    fit: PermeabilityFit | NoFit
    axes: Anisotropy | None
    results: dict[str, Any]


def answer_panel(
    panel: Panel,
    curve: FrontCurve,
    front: FrontSummary,
    scale: ScaleSummary,
    frame_notes: tuple[str, ...] = (),
) -> Answered:
    """Fit the curve and decide."""
    fit, axes = fit_panel(panel, curve, front, scale)
    results = describe(panel, front, scale, fit, axes)
    results["frame_notes"] = list(frame_notes)
    return Answered(fit, axes, results)


def front_band(fit: PermeabilityFit, until_s: float) -> FitBand:
    """Give the fitted front with its 95 % band over time, in seconds and mm.

    Notes
    -----
    The band is that of the fitted curve: the spread of the fits the frames allow, by the first
    order in the parameters, over all models by their weight (law of total variance).
    """
    time = np.linspace(0.0, until_s, BAND_POINTS)
    theta = np.asarray(fit.impulse.at(time), float)
    reach = fit.reach_m
    mixture = fit.mixture
    share = mixture.weight / mixture.weight.sum()
    fronts = np.empty((len(share), len(time)))
    variances = np.empty_like(fronts)
    for m, parameters in enumerate(mixture.mean):
        front, gradient = _front_and_gradient(fit, parameters, theta, reach)
        fronts[m] = front
        variances[m] = np.einsum("ti,ij,tj->t", gradient, mixture.covariance[m], gradient)
    middle = share @ fronts
    spread = np.sqrt(share @ (variances + (fronts - middle) ** 2))
    half = 1.96 * spread
    mm = 1000.0
    return FitBand(time, middle * mm, np.maximum(middle - half, 0) * mm, (middle + half) * mm)


def _front_and_gradient(
    fit: PermeabilityFit, parameters: FloatArray, theta: FloatArray, reach: float
) -> tuple[FloatArray, FloatArray]:
    driven = np.exp(parameters[0]) * theta
    y = driven + parameters[1] * reach**2
    a = max(float(parameters[2]), 0.0) * reach
    front = np.asarray(fit.law.front(y, a), float)
    steep = np.maximum(np.asarray(fit.law.slope(front), float) + 2 * a, 1e-3 * reach)
    rows = np.stack([driven, np.full_like(y, reach**2), -2 * front * reach], axis=1)
    return front, np.where((front > 0)[:, None], rows / steep[:, None], 0.0)


def curve_pictures(panel: Panel, curve: FrontCurve, answered: Answered) -> dict[str, bytes]:
    """Draw the distance curve and, where a fit was made, the squared distance."""
    fit, results = answered.fit, answered.results
    if not results["front"]["usable"]:
        return {}
    flow_length = results["fill"]["flow_length_mm"]
    limits = [
        TimeLimit(name, results["gel"][key])
        for name, key in (("working time", "working_time_s"), ("gel time", "gel_time_s"))
        if results["gel"][key] is not None
    ]
    if isinstance(fit, NoFit):
        figure = distance_figure(
            curve.time_s, curve.front_clean_mm, curve.used, limits=limits, flow=curve.flow
        )
        return {"curve": png_bytes(figure, dpi=PLOT_DPI)}
    last = max([float(curve.time_s[-1]), *(limit.time_s for limit in limits)])
    fill_s = results["fill"]["time_s"]
    if fill_s is not None:
        last = max(last, min(fill_s, 3 * last))
    figure = distance_figure(
        curve.time_s,
        fit.front_m * 1000,
        fit.used,
        fit=front_band(fit, 1.05 * last),
        limits=limits,
        flow_length_mm=flow_length,
        flow=curve.flow,
    )
    pictures = {"curve": png_bytes(figure, dpi=PLOT_DPI)}
    if curve.flow == "edge":
        pictures["squared"] = png_bytes(_squared(curve, fit), dpi=PLOT_DPI)
    return pictures


def _squared(curve: FrontCurve, fit: PermeabilityFit) -> Any:
    ends = np.array([0.0, float(np.max(curve.time_s))])
    band = front_band(fit, float(ends[1]))
    straight = FitBand(band.across, band.middle**2, band.low**2, band.high**2)
    steady = not np.ptp(np.asarray(fit.impulse.rate(band.across), float)) > 1e-9 * abs(
        float(fit.impulse.rate(0.0))
    )
    if steady:
        return squared_figure(curve.time_s, fit.front_m * 1000, fit.used, fit=straight)
    theta = np.asarray(fit.impulse.at(band.across), float)
    return squared_figure(
        np.asarray(fit.impulse.at(curve.time_s), float),
        fit.front_m * 1000,
        fit.used,
        fit=FitBand(theta, straight.middle, straight.low, straight.high),
        across_label="driving impulse (pressure over viscosity, summed over time)",
        across_unit=1.0,
    )


def panel_facts(panel: Panel, results: Mapping[str, Any]) -> dict[str, str]:
    """Give what was tested in shop units, for the record."""
    facts: dict[str, str] = {}
    size = results["scale"]["length_mm"], results["scale"]["width_mm"]
    facts["Panel"] = f"{size[0]:.0f} mm along the flow, {size[1]:.0f} mm across"
    facts["Feed"] = "along one edge" if panel.flow == "edge" else "at a point"
    start = results["front"]["resin_start"]
    if start:
        facts["Resin start"] = start.replace("T", " ")[:19]
    stack, resin, vacuum = panel.stack, panel.resin, panel.vacuum
    if stack.porosity is not None:
        facts["Porosity of the stack"] = f"{stack.porosity:.2f}"
    if resin.viscosity_pa_s is not None:
        facts["Viscosity"] = f"{resin.viscosity_pa_s * 1000:.0f} mPa·s"
    if vacuum.pressure_pa is not None:
        facts["Vacuum (pressure difference)"] = f"{vacuum.pressure_pa / 100:.0f} mbar"
    if panel.part is not None:
        facts["Longest flow on the part"] = f"{panel.part.flow_length_m * 1000:.0f} mm"
    return facts


def wetline_version() -> str:
    """Give the installed version, or an empty text."""
    try:
        return version("wetline")
    except PackageNotFoundError:
        return ""


def write_record(
    folder: Path, panel: Panel, curve: FrontCurve, answered: Answered, photo: bytes | None
) -> dict[str, bytes]:
    """Write results.json, the curve and report.html under results/.

    Parameters
    ----------
    folder : Path
        The panel folder.
    panel, curve, answered
        As fitted.
    photo : bytes or None
        Picture of the front lines, already drawn.

    Returns
    -------
    pictures : dict of str to bytes
        As the report shows them.
    """
    results = folder / "results"
    pictures = curve_pictures(panel, curve, answered)
    if photo is not None:
        pictures = {"front_lines": photo} | pictures
    write_json(results / "results.json", answered.results)
    curve_file = results / "curve.png"
    if "curve" in pictures:
        replace_file(curve_file, lambda part: part.write_bytes(pictures["curve"]))
    else:
        curve_file.unlink(missing_ok=True)
    html = build_report(
        answered.results,
        pictures,
        panel_facts(panel, answered.results),
        (folder / "panel.toml").read_text(encoding="utf-8-sig"),
        title=panel.name,
        version=wetline_version(),
        made=(answered.results["front"]["resin_start"] or "")[:10],
    )
    write_text(results / "report.html", html)
    return pictures
