"""The record of one panel: results.json, the curves, and the report that holds them all."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from analysis.fit.mixture_regression import Z_95
from analysis.fit.permeability import NoFit, PermeabilityFit
from analysis.forecast.panel_answer import PanelAnswer
from analysis.forecast.panel_answer import answer as answer_of
from analysis.forecast.panel_json import answer_json
from analysis.record.day.day_records import Day
from analysis.record.day.mark_flow import MarkFlow, flow_at
from analysis.record.day.seal import write_seal
from analysis.record.day.stage_pictures import last_photo_in_inches
from analysis.record.figures import (
    FitBand,
    TimeLimit,
    distance_figure,
    drawn,
    packed,
    squared_figure,
)
from analysis.record.render.html import report_html
from analysis.record.story.filed import gather
from analysis.record.story.inch_axes import chart_in_inches
from analysis.record.story.report import panel_report
from vision.common.atomic_files import replace_file, write_json, write_text
from vision.common.outside.input_files import read_text
from vision.common.outside.version import wetline_version
from vision.drawing.strokes import shrunk_jpeg
from vision.records import FloatArray, FrontCurve

BAND_POINTS = 160
PLOT_DPI = 110
PHOTO_PX = 1280
"""Width of the photo with the front lines in the report."""


def front_band(fit: PermeabilityFit, until_s: float) -> FitBand:
    """Compute the fitted front with its 95 % band over time, in seconds and mm.

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
    half = Z_95 * spread
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


def curve_pictures(
    answer: PanelAnswer, inch: bool = False, page: Figure | None = None
) -> dict[str, bytes]:
    """Draw the distance curve and, where a fit was made, the squared distance.

    With `inch` they have an axis in inches, or inches squared, too. Both are drawn on `page`, from
    `analysis.record.figures.blank_page`, where one is given.
    """
    fit, fill, gel, curve = answer.fit, answer.fill, answer.gel, answer.tracked.curve
    if not answer.front.usable:
        return {}
    limits = []
    if gel is not None:
        limits.append(TimeLimit("working time", gel.working_time_s))
        limits.append(TimeLimit("gel time", gel.gel_time_s))
    if isinstance(fit, NoFit):
        figure = distance_figure(
            curve.time_s,
            curve.front_clean_mm,
            curve.used,
            limits=limits,
            flow=curve.flow,
            other=answer.tracked.second,
            page=page,
        )
        return {"curve": packed(_drawn(figure, inch), PLOT_DPI)}
    last = max([float(curve.time_s[-1]), *(limit.time_s for limit in limits)])
    if fill is not None and np.isfinite(fill.time_s):
        last = max(last, min(fill.time_s, 3 * last))
    figure = distance_figure(
        curve.time_s,
        fit.front_m * 1000,
        fit.used,
        fit=front_band(fit, 1.05 * last),
        limits=limits,
        flow_length_mm=None if fill is None else fill.flow_length_m * 1000.0,
        flow=curve.flow,
        other=answer.tracked.second,
        fill_s=None if fill is None else (fill.time_low_s, fill.time_s, fill.time_high_s),
        page=page,
    )
    with ThreadPoolExecutor(1) as aside:
        pictures = {"curve": aside.submit(packed, _drawn(figure, inch), PLOT_DPI)}
        if curve.flow == "edge":
            squared = _drawn(_squared(curve, fit, None if inch else figure), inch)
            pictures["squared"] = aside.submit(packed, squared, PLOT_DPI)
    return {name: picture.result() for name, picture in pictures.items()}


def _drawn(figure: Figure, inch: bool) -> NDArray[np.uint8]:
    """Render a curve, with an axis in inches at its right where wanted."""
    return drawn(chart_in_inches(figure) if inch else figure, PLOT_DPI)


def _squared(curve: FrontCurve, fit: PermeabilityFit, page: Figure | None) -> Figure:
    ends = np.array([0.0, float(np.max(curve.time_s))])
    band = front_band(fit, float(ends[1]))
    straight = FitBand(band.across, band.middle**2, band.low**2, band.high**2)
    steady = not np.ptp(np.asarray(fit.impulse.rate(band.across), float)) > 1e-9 * abs(
        float(fit.impulse.rate(0.0))
    )
    if steady:
        return squared_figure(curve.time_s, fit.front_m * 1000, fit.used, fit=straight, page=page)
    theta = np.asarray(fit.impulse.at(band.across), float)
    return squared_figure(
        np.asarray(fit.impulse.at(curve.time_s), float),
        fit.front_m * 1000,
        fit.used,
        fit=FitBand(theta, straight.middle, straight.low, straight.high),
        across_label="driving impulse (pressure over viscosity, summed over time)",
        across_unit=1.0,
        page=page,
    )


def read_settings(folder: Path) -> str:
    """Return the text of a folder's panel.toml."""
    return read_text(folder / "panel.toml")


FORECAST_FILES = ("forecast.json", "levers.png", "resin.json")
"""What other commands made of the front; a run without one takes them away."""


def write_record(
    folder: Path,
    answer: PanelAnswer,
    photo: bytes | None,
    curves: dict[str, bytes] | None = None,
    hashes: dict[str, str] | None = None,
    *,
    small_photo: bytes | None = None,
    pdf: bool = False,
    paper: str = "A4",
    inch: bool = False,
) -> dict[str, bytes]:
    """Write results.json, the curve, the report and the hashes of its files under results/.

    A report.pdf of an earlier run goes; so do forecasts where there is no front any more.

    Parameters
    ----------
    folder : Path
        The panel folder.
    answer : PanelAnswer
        What the panel says.
    photo : bytes or None
        Picture of the front lines, already drawn.
    curves : dict of str to bytes, optional
        From `curve_pictures`, if already drawn.
    hashes : dict of str to str, optional
        From `analysis.record.input_files.hash_inputs`, if already worked out.
    small_photo : bytes, optional
        From `report_photo`, if already made.
    pdf : bool
        Also write report.pdf; left out, an older one is taken away, for it would tell another
        story.
    paper : {"A4", "letter"}
    inch : bool
        Whether the report has inches, inHg and pounds beside the metric values.

    Returns
    -------
    pictures : dict of str to bytes
        As the report shows them.

    Raises
    ------
    WetlineError
        If what was filed beside the answer cannot be read, or a file cannot be written.
    """
    results, filed = folder / "results", gather(folder, answer, hashes, inch)
    pictures = curve_pictures(answer, inch) if curves is None else curves
    if photo is not None:
        pictures = {"front_lines": photo} | pictures
    odd = results / (answer.front.unexplained_picture or "none")
    if answer.front.unexplained_picture and odd.is_file():
        pictures = {"unexplained": odd.read_bytes()} | pictures
    write_json(results / "results.json", answer_json(answer))
    curve_file = results / "curve.png"
    if "curve" in pictures:
        replace_file(curve_file, lambda part: part.write_bytes(pictures["curve"]))
    else:
        curve_file.unlink(missing_ok=True)
    small = small_photo or report_photo(photo)
    shown = pictures | ({} if small is None else {"front_lines": small})
    report = panel_report(
        answer,
        shown,
        read_settings(folder),
        filed=filed,
        version=wetline_version(),
        made=(answer.front.resin_start or "")[:10],
        inch=inch,
    )
    write_text(results / "report.html", report_html(report, paper))
    if pdf:
        from analysis.record.render.pdf import write_pdf

        write_pdf(results / "report.pdf", report, paper)
    else:
        (results / "report.pdf").unlink(missing_ok=True)
    if not answer.front.usable:
        for name in FORECAST_FILES:
            (results / name).unlink(missing_ok=True)
    write_seal(folder, filed.hashes)
    return pictures


def report_photo(photo: bytes | None) -> bytes | None:
    """Return a picture of the front lines as the report shows it; None where there is none."""
    return None if photo is None else shrunk_jpeg(photo, PHOTO_PX)


def rewrite_record(
    folder: Path, *, pdf: bool = True, paper: str = "A4", inch: bool = False
) -> PanelAnswer:
    """Write a panel's record again from what was tracked, with all that is filed since.

    Parameters
    ----------
    folder : Path
        The panel folder.
    pdf, paper, inch
        As for `write_record`.

    Raises
    ------
    WetlineError
        If the panel was not tracked yet, or with other settings than it holds now.
    """
    found = answer_of(folder)
    picture = folder / "results" / "front_lines.jpg"
    photo = picture.read_bytes() if picture.is_file() else None
    if inch and photo is not None:
        photo = last_photo_in_inches(folder, found.tracked) or photo
    write_record(folder, found, photo, pdf=pdf, paper=paper, inch=inch)
    return found


def filed_flow(day: Day, answer: PanelAnswer) -> list[MarkFlow]:
    """Return what the front did at each mark that is filed."""
    return [flow_at(mark, answer.tracked) for mark in day.marks]
